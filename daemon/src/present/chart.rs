//! Chart.
