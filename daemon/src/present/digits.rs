//! Numbers as text and as rounded values, never `-0`.

/// The nearest number with so many decimals, never negative zero.
pub(crate) fn rounded(value: f64, decimals: i32) -> f64 {
    let scale = 10_f64.powi(decimals);
    (value * scale).round() / scale + 0.0
}

/// A number with so many decimals and a real minus sign.
pub(crate) fn text(value: f64, decimals: i32) -> String {
    let value = rounded(value, decimals);
    let digits = format!("{:.*}", decimals as usize, value.abs());
    if value < 0.0 { format!("−{digits}") } else { digits }
}

/// Days in words.
pub(crate) fn days(count: i64) -> String {
    if count == 1 { "1 day".to_owned() } else { format!("{count} days") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_ever_minus_zero() {
        assert_eq!(text(-0.04, 1), "0.0");
        assert_eq!(text(-0.06, 1), "−0.1");
        assert!(rounded(-0.000_01, 4).is_sign_positive());
    }

    #[test]
    fn a_half_rounds_away_from_zero() {
        assert_eq!(text(0.125, 2), "0.13");
        assert_eq!(text(-2.5, 0), "−3");
    }
}
