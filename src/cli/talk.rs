//! What the program says while it works: progress on stderr, results on stdout.

use base::Watch;
use indicatif::{MultiProgress, ProgressBar, ProgressStyle};
use std::io::IsTerminal;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// Plain lines come at most this often when stderr is not a terminal.
const PLAIN_LINE_EVERY: Duration = Duration::from_secs(10);

/// How the program talks, and whether the user asked it to stop.
#[derive(Clone)]
pub struct Talk {
    quiet: bool,
    json: bool,
    terminal: bool,
    bars: MultiProgress,
    stop: Arc<AtomicBool>,
    budget: Option<Duration>,
}

impl Talk {
    /// Listens for Ctrl-C: the first asks to stop and keeps what is finished, the second ends at once.
    #[must_use]
    pub fn new(quiet: bool, json: bool) -> Talk {
        let stop = Arc::new(AtomicBool::new(false));
        let flag = Arc::clone(&stop);
        // Without a handler Ctrl-C still ends the program; finished parts are kept either way.
        let _ = ctrlc::set_handler(move || {
            if flag.swap(true, Ordering::SeqCst) {
                std::process::exit(130);
            }
            eprintln!(
                "\nstopping after this step; finished parts are kept (Ctrl-C again to stop at once)"
            );
        });
        Talk {
            quiet,
            json,
            terminal: std::io::stderr().is_terminal() && std::env::var_os("CI").is_none(),
            bars: MultiProgress::new(),
            stop,
            budget: None,
        }
    }

    /// The same voice with a time budget for each part.
    #[must_use]
    pub fn with_budget(&self, budget: Option<Duration>) -> Talk {
        Talk {
            budget,
            ..self.clone()
        }
    }

    /// True if stdout is to end with one JSON object.
    #[must_use]
    pub fn json(&self) -> bool {
        self.json
    }

    /// One line of talk.
    pub fn say(&self, text: &str) {
        if self.quiet {
            return;
        }
        if self.terminal {
            // A failed write to a closed terminal leaves nothing to tell.
            let _ = self.bars.println(text);
        } else {
            eprintln!("{text}");
        }
    }

    /// Result lines for people; left out when JSON is asked for.
    pub fn result(&self, text: &str) {
        if !self.json {
            println!("{text}");
        }
    }

    /// The one JSON object that ends stdout when asked for.
    pub fn object(&self, value: &serde_json::Value) {
        if self.json {
            println!("{value}");
        }
    }

    /// A watcher for one part of the work.
    #[must_use]
    pub fn part(&self, name: &str) -> Part {
        let bar = (self.terminal && !self.quiet).then(|| {
            let bar = self.bars.add(ProgressBar::new(1000));
            if let Ok(style) =
                ProgressStyle::with_template("{prefix:28!} {bar:20} {percent:>3}% {wide_msg}")
            {
                bar.set_style(style);
            }
            bar.set_prefix(name.to_string());
            bar
        });
        Part {
            name: name.to_string(),
            talk: self.clone(),
            bar,
            last: Mutex::new(Instant::now()),
            started: Instant::now(),
        }
    }
}

/// Watches one part: a bar on a terminal, now and then a plain line elsewhere.
pub struct Part {
    name: String,
    talk: Talk,
    bar: Option<ProgressBar>,
    last: Mutex<Instant>,
    started: Instant,
}

impl Drop for Part {
    fn drop(&mut self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}

impl Watch for Part {
    fn progress(&self, fraction: f64, words: &str) {
        if let Some(bar) = &self.bar {
            bar.set_position((fraction.clamp(0.0, 1.0) * 1000.0) as u64);
            bar.set_message(words.to_string());
            return;
        }
        let Ok(mut last) = self.last.lock() else {
            return;
        };
        if last.elapsed() >= PLAIN_LINE_EVERY {
            *last = Instant::now();
            self.talk.say(&format!(
                "{}: {:.0} %, {words}",
                self.name,
                fraction * 100.0
            ));
        }
    }

    fn stopped(&self) -> bool {
        self.talk.stop.load(Ordering::SeqCst)
    }

    fn enough(&self) -> bool {
        self.talk
            .budget
            .is_some_and(|budget| self.started.elapsed() >= budget)
    }
}
