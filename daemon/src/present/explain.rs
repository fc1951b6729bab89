//! Explanation.
