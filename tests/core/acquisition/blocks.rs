//! Blocks from an interrupt to a task: nothing is copied, every frame has its number, what is lost is counted.

use proptest::prelude::*;
use quietgap_acquisition::blocks::Exchange;
use std::collections::VecDeque;

#[test]
fn needs_three_buffers_that_hold_a_frame() {
    let [mut a, mut b, mut c] = [[0; 5]; 3];
    assert!(Exchange::<4>::new().split([&mut a[..], &mut b], 2).is_none());
    assert!(Exchange::<4>::new().split([&mut a[..], &mut b, &mut c[..1]], 2).is_none());
    assert!(Exchange::<4>::new().split([&mut a[..], &mut b, &mut c], 0).is_none());
    let mut exchange = Exchange::<4>::new();
    let (mut filler, _) = exchange.split([&mut a[..], &mut b, &mut c], 2).expect("enough");
    // Whole frames alone.
    assert_eq!(filler.begin().map(|buffer| buffer.len()), [4, 4]);
    let mut seven = [[0; 7]; 3];
    let seven = seven.each_mut().map(|b| &mut b[..]);
    let mut exchange = Exchange::<4>::new();
    let (mut filler, _) = exchange.split(seven, 3).expect("enough");
    assert_eq!(filler.begin().map(|buffer| buffer.len()), [6, 6]);
    // No room for a third that waits.
    let mut five = [[0; 2]; 5];
    let five = five.each_mut().map(|b| &mut b[..]);
    assert!(Exchange::<3>::new().split(five, 1).is_none());
}

proptest! {
    /// Blocks filled, taken and given back in any order, the board begun anew now and then, beside a model that has lists of
    /// numbers.
    #[test]
    fn any_order(steps in prop::collection::vec(0u8..=40, 0..200)) {
        let mut memory = [[0i32; 6]; 4];
        let buffers = memory.each_mut().map(|b| &mut b[..]);
        let mut exchange = Exchange::<4>::new();
        let (mut filler, mut taker) = exchange.split(buffers, 2).expect("enough");
        let mut running: VecDeque<*mut [i32]> =
            filler.begin().map(std::ptr::from_mut).into();
        let (mut free, mut full, mut held) = (2, VecDeque::new(), VecDeque::new());
        let (mut number, mut lost) = (0u64, 0u32);
        for step in steps {
            match step % 10 {
                // Once in forty.
                _ if step == 40 => {
                    filler.restart();
                    (number, lost) = (0, 0);
                }
                // The DMA fills more often than the task takes.
                0..5 => {
                    // What the DMA writes into the buffer that is its own now.
                    let stamp = number as u32 * 10;
                    let now = running.pop_front().expect("two");
                    let next = std::ptr::from_mut(filler.done(stamp));
                    running.push_back(next);
                    if free > 0 {
                        free -= 1;
                        full.push_back((now, 3 * number, stamp, std::mem::take(&mut lost)));
                    } else {
                        lost += 1;
                        prop_assert_eq!(now, next, "the same buffer again");
                    }
                    number += 1;
                }
                5..8 => {
                    let got = taker.take();
                    let want = full.pop_front();
                    prop_assert_eq!(got.is_some(), want.is_some());
                    if let (Some(block), Some((codes, first, stamp, lost))) = (got, want) {
                        prop_assert_eq!((block.first, block.stamp, block.lost), (first, stamp, lost));
                        prop_assert_eq!(std::ptr::from_mut::<[i32]>(block.codes), codes);
                        block.codes[0] = 1;
                        held.push_back(block);
                    }
                }
                _ => {
                    if let Some(block) = held.pop_front() {
                        taker.give_back(block);
                        free += 1;
                    }
                }
            }
        }
    }
}
