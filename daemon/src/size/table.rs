//! A study as text.
