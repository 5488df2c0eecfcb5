//! The scenario file: as typed (`raw`), then lifted to SI and validated once.
