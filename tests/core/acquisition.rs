//! What stands before the chain: frames of a converter, its driver, blocks, numbers of samples, channels watched.

#[path = "acquisition/blocks.rs"]
mod blocks;
#[path = "acquisition/driver.rs"]
mod driver;
#[path = "acquisition/injection.rs"]
mod injection;
#[path = "acquisition/intake.rs"]
mod intake;
#[path = "acquisition/layout.rs"]
mod layout;
#[path = "acquisition/timeline.rs"]
mod timeline;
#[path = "acquisition/watch.rs"]
mod watch;
