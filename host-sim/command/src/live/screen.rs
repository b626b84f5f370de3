//! The terminal: taken for as long as the view is there, given back however it ends.

use super::Live;
use super::draw::draw;
use quietgap_sim::error::{Error, Result};
use ratatui::DefaultTerminal;
use ratatui::crossterm::event::{self, Event, KeyCode, KeyModifiers};
use std::io::IsTerminal;
use std::time::{Duration, Instant};

/// Between two pictures.
const PICTURE: Duration = Duration::from_millis(250);

/// A terminal that shows a board.
#[derive(Debug)]
pub struct Screen {
    terminal: DefaultTerminal,
    shown: Option<Instant>,
}

impl Screen {
    /// Takes the terminal.
    ///
    /// # Errors
    /// Standard output is none, or cannot be taken.
    pub fn take() -> Result<Self> {
        if !std::io::stdout().is_terminal() {
            return Err(Error::new("--live: allowed where standard output is a terminal"));
        }
        let taken = ratatui::try_init();
        let terminal = taken.map_err(|e| Error::new(format!("--live: the terminal: {e}")))?;
        Ok(Self { terminal, shown: None })
    }

    /// Shows the board, some times a second, and does what keys ask for; whether to go on.
    ///
    /// # Errors
    /// The terminal is gone.
    pub fn show(&mut self, live: Option<&mut Live>, lost: u64) -> Result<bool> {
        let fault = |e: std::io::Error| Error::new(format!("--live: the terminal: {e}"));
        let (mut next, mut on) = (false, true);
        while event::poll(Duration::ZERO).map_err(fault)? {
            if let Event::Key(key) = event::read().map_err(fault)? {
                match key.code {
                    KeyCode::Char('q') | KeyCode::Esc => on = false,
                    KeyCode::Char('c') if key.modifiers.contains(KeyModifiers::CONTROL) => {
                        on = false
                    }
                    KeyCode::Tab => next = true,
                    _ => {}
                }
            }
        }
        let due = next || self.shown.is_none_or(|at| at.elapsed() >= PICTURE);
        if due {
            self.shown = Some(Instant::now());
            match live {
                Some(live) => {
                    if next {
                        live.next_axis();
                    }
                    self.terminal.draw(|frame| draw(frame, live, lost)).map_err(fault)?;
                }
                None => {
                    let waits = "waits for the board to say what it is; q ends";
                    self.terminal.draw(|f| f.render_widget(waits, f.area())).map_err(fault)?;
                }
            }
        }
        Ok(on)
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        ratatui::restore();
    }
}
