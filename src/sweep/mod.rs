//! Many scenarios at once: a plan whose parts are computed from their number, parts that any
//! machine can compute, and a merge that does not care who did.
//!
//! ```text
//! SWEEP.toml -> Plan (folder: plan.json, inputs/) -> Part 0..N (parts/) -> merge -> Findings
//! ```
//!
//! Guaranteed: a part's bytes depend on the plan and its number alone; a part is there whole or
//! not at all; parts of another plan or another program are refused; the findings depend on the
//! set of parts alone, not on who computed them, in what order, or how often.

pub mod axis;
pub mod design;
pub mod draft;
pub mod effect;
pub mod estimate;
pub mod findings;
pub mod gather;
pub mod make;
pub mod part;
pub mod plan;
pub mod rank;
pub mod raw;
pub mod reading;
pub mod run;
pub mod tally;

pub use axis::Axis;
pub use findings::Findings;
pub use make::Workshop;
pub use part::Part;
pub use plan::{Plan, Sweep};
