//! Checks across crates and against real data, as one program.

mod series;
