//! Events: as many false ones as stated in noise of any colour, and those that are there found for what they are.

use quietgap_sim::analysis::series::Series;
use quietgap_sim::events::{Event, Kind, find};
use quietgap_sim::simulation::plant::noise::{Gaussian, Stream};
use rayon::prelude::*;

fn noise(seed: u64, count: usize, walk: f64) -> Vec<f64> {
    let mut gaussian = Gaussian::new(seed, Stream::Outside(0));
    let mut sum = 0.0;
    (0..count)
        .map(|_| {
            sum += walk * gaussian.next();
            sum + gaussian.next()
        })
        .collect()
}

/// A record that expects one false alarm in five, white and wandering: 400 records of each.
#[test]
fn false_alarms_are_as_rare_as_stated() {
    for walk in [0.0, 0.05] {
        let one = |seed: u64| {
            let x = noise(seed, 5000, walk);
            find(&Series::whole(&x, 1.0), 0.2, 64).len()
        };
        let all: usize = (0..400u64).into_par_iter().map(one).sum();
        println!("walk {walk}: {all} false alarms in 400 records, 80 expected");
        // No more than stated, and what chance does to that: three standard deviations of 80. Not so few either that events
        // are lost: widths look at the same rows, so that some alarms are one.
        assert!((30..=107).contains(&all), "walk {walk}: {all}");
    }
}

/// A spike, an excursion and a step of eight standard deviations of one row: each found in place, for what it is.
#[test]
fn what_happens_is_found_for_what_it_is() {
    let one = |seed: u64| {
        let mut x = noise(seed, 6000, 0.01);
        x[1000] += 12.0;
        x[2500..2530].iter_mut().for_each(|x| *x += 6.0);
        x[4000..].iter_mut().for_each(|x| *x += 4.0);
        find(&Series::whole(&x, 1.0), 0.05, 128)
    };
    let all: Vec<_> = (0..100u64).into_par_iter().map(one).collect();
    for (kind, place, size, within) in
        [(Kind::Spike, 1000, 12.0, 1), (Kind::Excursion, 2500, 6.0, 20), (Kind::Step, 4000, 4.0, 2)]
    {
        let found: Vec<_> = all
            .iter()
            .filter_map(|events| {
                // With what noise adds to the row beside it, a spike may be two rows long.
                let is = |e: &&Event| e.kind == kind || kind == Kind::Spike && e.rows.len() == 2;
                events.iter().filter(is).find(|e| e.rows.start.abs_diff(place) <= within)
            })
            .collect();
        let mean = found.iter().map(|e| e.size).sum::<f64>() / found.len() as f64;
        println!("{kind:?}: found in {} of 100, {mean:.2} in the mean of {size}", found.len());
        assert!(found.len() >= 97, "{kind:?}: {}", found.len());
        assert!((mean / size - 1.0).abs() < 0.15, "{kind:?}: {mean}");
    }
    let more = all.iter().map(Vec::len).sum::<usize>() as f64 / 100.0;
    println!("{more} events a record, 3 there");
    assert!(more < 3.3, "{more}");
}
