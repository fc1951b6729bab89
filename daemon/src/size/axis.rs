//! Numbers to try, as they are typed.

/// Keys that are varied together, and the values they take in turn.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    /// Paths in the site file.
    pub keys: Vec<String>,
    /// For each step, a value of each key.
    pub steps: Vec<Vec<f64>>,
}

impl std::str::FromStr for Axis {
    type Err = String;

    /// Reads `KEY=V1,V2,…`, or `KEY+KEY=V+W,V+W,…` for keys varied together.
    fn from_str(text: &str) -> Result<Self, String> {
        let (keys, values) =
            text.split_once('=').ok_or_else(|| format!("`{text}` is not KEY=VALUE,VALUE"))?;
        let keys: Vec<String> = keys.split('+').map(|key| key.trim().to_owned()).collect();
        let step = |part: &str| {
            let numbers: Result<Vec<f64>, String> = part
                .split('+')
                .map(|number| match number.trim().parse::<f64>() {
                    Ok(value) if value.is_finite() => Ok(value),
                    _ => Err(format!("`{}` in `{text}` is not a number", number.trim())),
                })
                .collect();
            let numbers = numbers?;
            if numbers.len() == keys.len() {
                return Ok(numbers);
            }
            Err(format!(
                "`{part}` in `{text}` gives {} numbers for {} keys",
                numbers.len(),
                keys.len()
            ))
        };
        let steps = values.split(',').map(step).collect::<Result<_, _>>()?;
        Ok(Self { keys, steps })
    }
}
