//! Which candidates a study looks at, and which part of them is done here.

/// Every combination of one choice from each axis, the last axis fastest.
pub fn combinations(choices: &[usize]) -> Vec<Vec<usize>> {
    choices.iter().fold(vec![Vec::new()], |all, &count| {
        let longer = |list: &Vec<usize>| {
            let list = list.clone();
            (0..count).map(move |choice| [list.clone(), vec![choice]].concat())
        };
        all.iter().flat_map(longer).collect()
    })
}

/// Each choice of each axis with the others left as they are.
pub fn one_at_a_time(choices: &[usize]) -> Vec<Vec<Option<usize>>> {
    let axes = choices.len();
    let on = |axis: usize, choice: usize| {
        (0..axes).map(move |other| (other == axis).then_some(choice)).collect()
    };
    let each = choices.iter().enumerate();
    each.flat_map(|(axis, &count)| (0..count).map(move |choice| on(axis, choice))).collect()
}

/// A part of the work: every `of`-th piece from the `part`-th on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shard {
    part: usize,
    of: usize,
}

impl Shard {
    /// All of the work.
    pub const WHOLE: Self = Self { part: 1, of: 1 };

    /// Part `part` of `of`, counted from 1; `None` if there is no such part.
    pub fn new(part: usize, of: usize) -> Option<Self> {
        (1..=of).contains(&part).then_some(Self { part, of })
    }

    /// Whether a piece of work, counted from 0, belongs to this part.
    pub fn holds(self, piece: usize) -> bool {
        piece % self.of == self.part - 1
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_grid_has_every_combination_once() {
        let grid = combinations(&[3, 3, 2]);
        assert_eq!(grid.len(), 18);
        assert_eq!((&grid[0][..], &grid[1][..]), (&[0, 0, 0][..], &[0, 0, 1][..]));
        let mut unique = grid.clone();
        unique.sort();
        unique.dedup();
        assert_eq!(unique.len(), 18);
    }

    #[test]
    fn one_at_a_time_leaves_the_others_alone() {
        let all = one_at_a_time(&[2, 1]);
        assert_eq!(all, [vec![Some(0), None], vec![Some(1), None], vec![None, Some(0)]]);
    }

    #[test]
    fn every_piece_belongs_to_one_part() {
        for piece in 0..50 {
            let parts = (1..=7).filter(|&i| Shard::new(i, 7).expect("a part").holds(piece));
            assert_eq!(parts.count(), 1);
        }
        assert_eq!(Shard::new(0, 3), None);
        assert_eq!(Shard::new(4, 3), None);
    }
}
