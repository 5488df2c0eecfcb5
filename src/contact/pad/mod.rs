//! Soft contact: a compliant pad pressed against the figure.
