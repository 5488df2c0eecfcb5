//! Values that ship: bodies, films, counterfaces, schedules; each with range, grade, source.
