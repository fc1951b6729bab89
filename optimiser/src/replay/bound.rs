//! What could have been done knowing everything.
