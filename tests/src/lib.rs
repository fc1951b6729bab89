//! Helpers of the end-to-end checks.
