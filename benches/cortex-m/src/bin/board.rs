//! **Example firmware**: a timer interrupt at the block rate stands for the converter's; it hands
//! blocks through a single-producer, single-consumer queue to the main loop, which runs the chain.
//!
//! Two channels of 800 kS/s and a 200 MHz core: a block of 80 frames every 100 us, 20 000
//! instructions. Ends by itself and says what it saw.
#![no_std]
#![no_main]

use core::cell::RefCell;
use core::sync::atomic::{AtomicU32, Ordering};
use cortex_m::interrupt::Mutex;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_rt::{entry, exception};
use heapless::spsc::{Producer, Queue};
use quietgap_board::counter;
use quietgap_board::digest::Digest;
use quietgap_board::machine;
use quietgap_board::source::Source;

#[path = "../plans/example.rs"]
mod plan;

use plan::{Board, CHANNELS, PLAN};
use semihosting::println;

const FRAMES: usize = 80;
const BLOCK: usize = CHANNELS * FRAMES;
/// Instructions from one block to the next: 100 us of a 200 MHz core.
const PERIOD: u64 = 20_000;
/// Blocks of the run: 0.3 s.
const BLOCKS: u32 = 3000;

/// A block and its number: a lost one shows as a step in the numbers.
type Numbered = (u32, [i32; BLOCK]);
/// Holds seven blocks: the queue keeps one place free.
type Blocks = Queue<Numbered, 8>;

static PRODUCER: Mutex<RefCell<Option<Producer<'static, Numbered>>>> =
    Mutex::new(RefCell::new(None));
static REFUSED: AtomicU32 = AtomicU32::new(0);

#[panic_handler]
fn panic(info: &core::panic::PanicInfo<'_>) -> ! {
    machine::fail(info)
}

/// The converter's interrupt: what its registers hold goes into the queue, and no more is done.
#[exception]
fn SysTick() {
    static mut NUMBER: u32 = 0;
    static mut SOURCE: Source = Source::new(3);
    if *NUMBER == BLOCKS {
        return;
    }
    let mut codes = [0; BLOCK];
    SOURCE.fill(&mut codes, CHANNELS, &[6000, -6000], 12);
    cortex_m::interrupt::free(|section| {
        if let Some(producer) = PRODUCER.borrow(section).borrow_mut().as_mut()
            && producer.enqueue((*NUMBER, codes)).is_err()
        {
            REFUSED.fetch_add(1, Ordering::Relaxed);
        }
    });
    *NUMBER += 1;
}

#[entry]
fn main() -> ! {
    static mut QUEUE: Blocks = Queue::new();
    static mut READOUT: Board = Board::IDLE;
    READOUT.load(&PLAN);
    let (producer, mut consumer) = QUEUE.split();
    cortex_m::interrupt::free(|section| {
        PRODUCER.borrow(section).replace(Some(producer));
    });
    let mut peripherals = cortex_m::Peripherals::take().expect("first and only call");
    peripherals.SYST.set_clock_source(SystClkSource::Core);
    peripherals.SYST.set_reload((PERIOD / counter::TICK) as u32 - 1);
    peripherals.SYST.clear_current();
    peripherals.SYST.enable_interrupt();
    peripherals.SYST.enable_counter();

    let (mut expected, mut lost, mut readings, mut deepest) = (0, 0, 0u32, 0);
    let mut digest = Digest::new();
    while expected < BLOCKS {
        deepest = deepest.max(consumer.len());
        let Some((number, codes)) = consumer.dequeue() else {
            cortex_m::asm::wfi();
            continue;
        };
        lost += number - expected;
        expected = number + 1;
        READOUT.push(&codes, |reading| {
            digest.reading(reading);
            readings += 1;
        });
    }
    println!(
        "board blocks={} lost={} refused={} deepest={} readings={} digest={:016x}",
        expected,
        lost,
        REFUSED.load(Ordering::Relaxed),
        deepest,
        readings,
        digest.0
    );
    machine::done()
}
