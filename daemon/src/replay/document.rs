//! The replay as JSON.
