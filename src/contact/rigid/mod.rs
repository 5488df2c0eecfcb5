//! Hard contact: engines for rigid bodies in a box, one interface, one suite of checks.
