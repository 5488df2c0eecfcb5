//! Asks, words and draws; never computes.
