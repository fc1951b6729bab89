//! Svg.
