//! What is done to a specimen: tumble, drop, rub, handle, ride. Knows no films.
