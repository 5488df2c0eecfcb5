//! The questions: life, areas, compare, what-if, match, reinforce, advise.
