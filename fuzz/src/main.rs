//! Gives every reader of gritwise inputs that nobody would write.

mod mutate;
mod targets;

use mutate::{Corpus, Numbers};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Mutex;
use std::time::{Duration, Instant};
use targets::{TARGETS, Target};

/// An input that takes longer hangs, for whoever waits.
const LONGEST: Duration = Duration::from_secs(20);

/// The input at hand and since when, for whoever watches.
static AT_HAND: Mutex<Option<(Instant, String, Vec<u8>)>> = Mutex::new(None);

/// What is to be run.
struct Call {
    target: String,
    seconds: Option<u64>,
    executions: Option<u64>,
    from: u64,
}

impl Call {
    fn of(mut args: impl Iterator<Item = String>) -> Result<Self, String> {
        let mut call = Self { target: "all".into(), seconds: None, executions: None, from: 0 };
        while let Some(arg) = args.next() {
            let mut number = || {
                let text = args.next().ok_or(format!("{arg} wants a number"))?;
                text.parse::<u64>().map_err(|_| format!("{arg}: \"{text}\" is no number"))
            };
            match arg.as_str() {
                "--seconds" => call.seconds = Some(number()?),
                "--executions" => call.executions = Some(number()?),
                "--from" => call.from = number()?,
                name if !name.starts_with('-') => call.target = name.to_owned(),
                other => return Err(format!("there is no option {other}")),
            }
        }
        Ok(call)
    }

    fn ends(&self, done: u64, start: Instant) -> bool {
        let by_number = self.executions.or(self.seconds.is_none().then_some(0)).is_some_and(|most| done >= most);
        by_number || self.seconds.is_some_and(|s| start.elapsed() >= Duration::from_secs(s))
    }
}

fn main() -> ExitCode {
    let call = match Call::of(std::env::args().skip(1)) {
        Ok(call) => call,
        Err(wrong) => return complain(&wrong),
    };
    let chosen: Vec<&Target> = TARGETS.iter().filter(|t| call.target == "all" || call.target == t.name).collect();
    if chosen.is_empty() {
        let names: Vec<&str> = TARGETS.iter().map(|t| t.name).collect();
        return complain(&format!("there is no target \"{}\"; there are {}", call.target, names.join(", ")));
    }
    std::thread::spawn(watch);
    for target in chosen {
        if let Err(wrong) = run(target, &call) {
            return complain(&wrong);
        }
    }
    ExitCode::SUCCESS
}

fn complain(wrong: &str) -> ExitCode {
    eprintln!("gritwise-fuzz: {wrong}");
    ExitCode::FAILURE
}

/// The corpus, then as many changed inputs as are asked for.
fn run(target: &Target, call: &Call) -> Result<(), String> {
    let corpus = Corpus::read(target.name, target.seeds).map_err(|e| format!("{}: {e}", target.name))?;
    let mut test = (target.test)();
    for seed in &corpus.seeds {
        tried(target, "corpus", seed, &mut test)?;
    }
    let start = Instant::now();
    let mut done = 0;
    while !call.ends(done, start) {
        let number = call.from + done;
        let input = corpus.changed(&mut Numbers::of(target.name, number));
        tried(target, &number.to_string(), &input, &mut test)?;
        done += 1;
    }
    println!(
        "{:<12} corpus {:>3}, executions {done:>9}, {:.1} s",
        target.name,
        corpus.seeds.len(),
        start.elapsed().as_secs_f64()
    );
    Ok(())
}

fn tried(target: &Target, number: &str, input: &[u8], test: &mut targets::Test) -> Result<(), String> {
    let name = format!("{}-{number}", target.name);
    at_hand(Some((Instant::now(), name.clone(), input.to_vec())));
    let outcome = catch_unwind(AssertUnwindSafe(|| test(input)));
    at_hand(None);
    let wrong = match outcome {
        Ok(Ok(())) => return Ok(()),
        Ok(Err(wrong)) => wrong,
        Err(_) => "it panicked".to_owned(),
    };
    Err(format!("{name}: {wrong}; the input is in {}", kept(&name, input).display()))
}

fn at_hand(input: Option<(Instant, String, Vec<u8>)>) {
    if let Ok(mut at_hand) = AT_HAND.lock() {
        *at_hand = input;
    }
}

/// Ends the program when an input takes too long.
fn watch() {
    loop {
        std::thread::sleep(Duration::from_millis(500));
        let Ok(at_hand) = AT_HAND.lock() else { return };
        if let Some((_, name, input)) = at_hand.as_ref().filter(|(since, ..)| since.elapsed() > LONGEST) {
            let file = kept(name, input);
            complain(&format!(
                "{name}: it takes more than {} s; the input is in {}",
                LONGEST.as_secs(),
                file.display()
            ));
            std::process::exit(1);
        }
    }
}

/// Keeps an input that is to be looked at.
fn kept(name: &str, input: &[u8]) -> PathBuf {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/fuzz");
    let file = folder.join(name);
    let written = std::fs::create_dir_all(&folder).and_then(|()| std::fs::write(&file, input));
    if let Err(e) = written {
        complain(&format!("{}: {e}", file.display()));
    }
    file
}
