use super::*;

/// Half a year in which 40 L are drawn at seven every day, and 150 L every thirtieth
/// day, at noon or at six in turn.
fn half_a_year() -> Surprises {
    let mut drawn = vec![Some(0.0); 180 * DAY];
    for (place, litres) in drawn.iter_mut().enumerate() {
        let (day, of_day) = (place / DAY, place % DAY);
        let rare = if day % 60 == 0 { 24 } else { 36 };
        *litres = Some(match of_day {
            14 => 40.0,
            at if at == rare && day % 30 == 0 => 150.0,
            _ => 0.0,
        });
    }
    let peaks: Vec<_> = peaks(&drawn, 20.0).into_iter().map(|(at, l)| (at % DAY, l)).collect();
    Surprises::from_peaks(&peaks, (180.0, 180.0 * 45.0), 320.0)
}

#[test]
fn draws_that_follow_each_other_are_one_surprise_at_its_worst() {
    let drawn = [0.0, 50.0, 200.0, 90.0, 0.0, 0.0, 30.0].map(Some);
    // 200 + (90 − 20) must stand ready for the last two, 50 + 250 for all three; the
    // half-hour before that can make 20 of it.
    assert_eq!(peaks(&drawn, 20.0), vec![(1, 300.0), (6, 30.0)]);
}

#[test]
fn what_comes_at_no_time_of_day_may_come_at_any_at_which_something_is_drawn() {
    let surprises = half_a_year();
    let chance = |of_day: usize, litres: f64| surprises.chance[of_day][(litres / 10.0) as usize];
    // The shower comes every day, in one of five half-hours around seven.
    assert!((chance(14, 20.0) - 0.2).abs() < 0.01, "{}", chance(14, 20.0));
    // A bath of 150 L may come at seven as well, though none ever did, but not at night.
    let (at_seven, at_noon, at_night) = (chance(14, 100.0), chance(24, 100.0), chance(4, 100.0));
    assert!(at_seven > 5e-4 && at_night < 0.05 * at_seven, "{at_seven} {at_night}");
    assert!(at_noon > 5e-4, "{at_noon}");
    // More than ever came is possible, and less likely the more it is.
    assert!(chance(24, 200.0) > 0.0 && chance(24, 200.0) > chance(24, 300.0));
}

#[test]
fn the_price_of_comfort_lets_just_what_is_allowed_arrive_cold() {
    let surprises = half_a_year();
    let cold = |price: f64| -> f64 {
        let own = |at: usize| &surprises.cold[at];
        let level = |at: usize| surprises.level(at, 0.1 / price);
        (0..DAY).map(|at| own(at)[level(at)] - own(at)[LEVELS]).sum()
    };
    for allowed in [0.003, 0.01, 0.03] {
        let (price, litres) = (surprises.price(0.1, allowed, 1e9), allowed * surprises.daily);
        assert!(cold(price) <= litres, "{allowed}: {}", cold(price));
        assert!(cold(price / 1.06) > litres, "{allowed}: a lower price would do");
    }
    assert!(surprises.price(0.1, 1e-6, 50.0) <= 50.0, "comfort has its price");
}

// A shower of 30 L at seven is what comes every day; one that goes on may be a bath of
// 150 L, which comes on one day of thirty.
#[test]
fn what_goes_on_beyond_the_usual_tells_of_more() {
    let surprises = half_a_year();
    let chance = |litres: f64| surprises.chance[14][(litres / 10.0) as usize];
    assert!(chance(140.0) < 0.01 * chance(30.0), "{} {}", chance(140.0), chance(30.0));
    let telling = surprises.telling(14, 145.0, 0.2);
    assert!((40.0..=60.0).contains(&telling), "{telling}");
    assert!(chance(140.0) > 0.2 * chance(telling), "{telling}");
    // To be surer takes more.
    assert!(surprises.telling(14, 145.0, 0.9) > telling + 40.0);
}

#[test]
fn before_anything_is_known_some_is_kept() {
    let nothing = Surprises::from_peaks(&[], (0.0, 0.0), 320.0);
    let chance = 0.1 / nothing.price(0.1, 0.001, 1e9);
    assert!(nothing.worth_keeping(14, chance) > 100.0);
    // What is known outweighs it: nothing is drawn at two.
    assert!(half_a_year().chance[4][20] < 0.1 * nothing.chance[4][20]);
}

#[test]
fn steps_cost_what_is_expected_to_arrive_cold() {
    let surprises = half_a_year();
    let chance = 0.1 / surprises.price(0.1, 0.003, 1e9);
    let steps = surprises.kept(24, chance);
    assert!(steps.windows(2).all(|pair| pair[0].litres <= pair[1].litres), "{steps:?}");
    let most = steps[STEPS - 1].litres;
    let beyond = surprises.cold[24][(most / surprises.step).round() as usize];
    for step in steps {
        let short = |own: &Kept| own.chance * (own.litres - step.litres).max(0.0);
        let priced: f64 = steps.iter().map(short).sum();
        let expected = surprises.cold[24][(step.litres / surprises.step).round() as usize];
        assert!((priced + beyond - expected).abs() < 1e-9, "{priced} {expected}");
    }
}
