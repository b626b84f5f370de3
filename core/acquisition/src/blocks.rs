//! **Blocks from an interrupt to a task.** A DMA that writes to two buffers in turn fills blocks; the interrupt at a block's end
//! hands it over and gives the DMA another buffer; the task works on it and gives it back. No code is copied, and no buffer is in
//! two hands: whoever holds one owns it.
//!
//! Where the task has not given a buffer back in time, the block that is full is overwritten, counted and told with the next one:
//! the numbers of samples stay true.

use heapless::spsc::{Consumer, Producer, Queue};

/// A block of whole frames.
#[derive(Debug)]
pub struct Block<'a> {
    /// Interleaved codes, whole frames.
    pub codes: &'a mut [i32],
    /// Number of its first frame, counted from the start of the DMA.
    pub first: u64,
    /// The board's time when its last frame was there, ticks of a counter that wraps.
    pub stamp: u32,
    /// Blocks overwritten just before it.
    pub lost: u32,
}

/// The way from interrupt to task and back, for `N` - 1 buffers on either way; three buffers are the fewest.
#[derive(Debug)]
pub struct Exchange<'a, const N: usize> {
    full: Queue<Block<'a>, N>,
    empty: Queue<&'a mut [i32], N>,
}

impl<const N: usize> Default for Exchange<'_, N> {
    fn default() -> Self {
        Self::new()
    }
}

impl<'a, const N: usize> Exchange<'a, N> {
    /// Without buffers.
    #[must_use]
    pub const fn new() -> Self {
        Self { full: Queue::new(), empty: Queue::new() }
    }

    /// The interrupt's end and the task's, for frames of `channels` codes: the first two buffers are the DMA's, the others wait.
    /// All are cut to the shortest one's whole frames.
    ///
    /// `None` for fewer than three buffers, more than `N` + 1, or such as hold no whole frame.
    pub fn split<'q, const B: usize>(
        &'q mut self,
        buffers: [&'a mut [i32]; B],
        channels: usize,
    ) -> Option<(Filler<'q, 'a>, Taker<'q, 'a>)> {
        let shortest = buffers.iter().map(|buffer| buffer.len()).min()?;
        let frames = shortest.checked_div(channels)?;
        if frames == 0 {
            return None;
        }
        let mut buffers = buffers
            .into_iter()
            .filter_map(|buffer| buffer.split_at_mut_checked(frames * channels).map(|(b, _)| b));
        let (running, following) = (buffers.next()?, buffers.next()?);
        let mut one_waits = false;
        for buffer in buffers {
            self.empty.enqueue(buffer).ok()?;
            one_waits = true;
        }
        if !one_waits {
            return None;
        }
        let (full, taken) = self.full.split();
        let (given, empty) = self.empty.split();
        let frames = frames as u64;
        let filler = Filler { full, empty, running, following, frames, first: 0, lost: 0 };
        Some((filler, Taker { taken, given }))
    }
}

/// The interrupt's end.
pub struct Filler<'q, 'a> {
    full: Producer<'q, Block<'a>>,
    empty: Consumer<'q, &'a mut [i32]>,
    /// What the DMA fills now, and next.
    running: &'a mut [i32],
    following: &'a mut [i32],
    frames: u64,
    /// Number of the first frame in `running`.
    first: u64,
    /// Blocks overwritten since one was handed over.
    lost: u32,
}

impl Filler<'_, '_> {
    /// The two buffers that the DMA begins with, in order.
    pub fn begin(&mut self) -> [&mut [i32]; 2] {
        [self.running, self.following]
    }

    /// The board begins anew: the first frame of the running buffer is number 0.
    pub fn restart(&mut self) {
        (self.first, self.lost) = (0, 0);
    }

    /// The running buffer is full since `stamp`: hands it over, and returns the buffer that the DMA fills behind the one that it
    /// has begun. A data barrier between the DMA's end and this call is the caller's.
    pub fn done(&mut self, stamp: u32) -> &mut [i32] {
        let first = self.first;
        self.first = first.wrapping_add(self.frames);
        // Room for a block is room for good: the task can only make more.
        let next = if self.full.ready() { self.empty.dequeue() } else { None };
        match next {
            Some(next) => {
                let began = core::mem::replace(&mut self.following, next);
                let codes = core::mem::replace(&mut self.running, began);
                let lost = core::mem::take(&mut self.lost);
                let _ = self.full.enqueue(Block { codes, first, stamp, lost });
            }
            None => {
                self.lost = self.lost.saturating_add(1);
                core::mem::swap(&mut self.running, &mut self.following);
            }
        }
        self.following
    }
}

/// The task's end.
pub struct Taker<'q, 'a> {
    taken: Consumer<'q, Block<'a>>,
    given: Producer<'q, &'a mut [i32]>,
}

impl<'a> Taker<'_, 'a> {
    /// The oldest block that waits.
    pub fn take(&mut self) -> Option<Block<'a>> {
        self.taken.dequeue()
    }

    /// Gives a block's buffer back. There is room: it came from here.
    pub fn give_back(&mut self, block: Block<'a>) {
        let _ = self.given.enqueue(block.codes);
    }
}
