//! The command line: thin, one command a file. It reads and writes files; everything else is done
//! by the stages.
//!
//! Exit status: 0 fine, 1 errors in the music (or, for `fmt --check`, sources that are not in the
//! canonical form), 2 wrong use, or reading or writing failed, 130 interrupted.

mod advise;
mod build;
mod check;
mod files;
mod fmt;
mod import;
mod instruments;
mod interrupt;
mod lsp;
mod new;
mod output;
mod paging;
mod papers;
mod printing;
mod reprint;
mod revision;
mod rules;
mod source;
mod watch;
mod write_out;

use std::io::{self, IsTerminal, Write};
use std::process::ExitCode;

use clap::{Parser, Subcommand, ValueEnum};

/// Compiles plain-text arrangements into parts and scores.
#[derive(Parser)]
#[command(
    name = "ripieno",
    version,
    about = "Score a piece for orchestras of any era, check it, and write the score and all parts",
    max_term_width = 100
)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Check an arrangement and report problems.
    Check(check::Arguments),
    /// Write the score and all parts of every scoring.
    Build(build::Arguments),
    /// List the parts to print again after a change, and the bars to correct by hand.
    Reprint(reprint::Arguments),
    /// Build again whenever a source is saved, and report in one line what was written.
    Watch(watch::Arguments),
    /// Format sources in the canonical form, in which versions are easy to compare.
    Fmt(fmt::Arguments),
    /// Replace computed lines with their notes, for one player, some bars or a whole scoring.
    WriteOut(write_out::Arguments),
    /// Bring in a piece that you have, from MusicXML or MIDI.
    Import(import::Arguments),
    /// Advise on crooks, timpani, forces, voices, harmony and coverage, or draft a scoring.
    Advise(advise::Arguments),
    /// List the catalogue of instruments, or show one in full.
    Instruments(instruments::Arguments),
    /// List the rules of the checker.
    Rules(rules::RulesArguments),
    /// Explain a rule: what it finds, why it matters, how to fix it.
    Explain(rules::ExplainArguments),
    /// Create a new arrangement from a template.
    New(new::Arguments),
    /// Print a script that completes commands and options in your shell.
    Completions(papers::CompletionsArguments),
    /// Print the manual page of Ripieno or of one command.
    Man(papers::ManArguments),
    /// Serve an editor while you type (Language Server Protocol over standard input and output).
    Lsp(lsp::Arguments),
}

/// How findings are shown.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Show {
    /// In full, with the places in the source.
    Rich,
    /// One line each, for editors and logs.
    Short,
    /// As data.
    Json,
}

/// How a command ends.
#[derive(Clone, Copy, PartialEq, Eq)]
enum End {
    Fine,
    ErrorsInMusic,
}

/// Wrong use, or reading or writing failed: what, and what to do.
struct Failure(String);

type Outcome = Result<End, Failure>;

/// Runs the command line of this process.
#[must_use]
pub fn main() -> ExitCode {
    let command = Arguments::parse().command;
    interrupt::listen();
    let outcome = match command {
        Command::Check(arguments) => check::run(&arguments),
        Command::Build(arguments) => build::run(&arguments),
        Command::Reprint(arguments) => reprint::run(&arguments),
        Command::WriteOut(arguments) => write_out::run(&arguments),
        Command::Import(arguments) => import::run(&arguments),
        Command::Advise(arguments) => advise::run(&arguments),
        Command::Instruments(arguments) => instruments::run(&arguments),
        Command::Rules(arguments) => rules::rules(&arguments),
        Command::Explain(arguments) => rules::explain(&arguments),
        Command::New(arguments) => new::run(&arguments),
        Command::Watch(arguments) => watch::run(&arguments),
        Command::Fmt(arguments) => fmt::run(&arguments),
        Command::Completions(arguments) => papers::completions(&arguments),
        Command::Man(arguments) => papers::man(&arguments),
        Command::Lsp(arguments) => lsp::run(&arguments),
    };
    match outcome {
        Ok(End::Fine) => ExitCode::SUCCESS,
        Ok(End::ErrorsInMusic) => ExitCode::from(1),
        // Who stops because he was asked to has nothing to tell.
        Err(_) if interrupt::stop_if_asked().is_err() => ExitCode::from(interrupt::STATUS),
        Err(Failure(message)) => {
            // Nothing is left to be done if even this cannot be said.
            let _ = writeln!(io::stderr(), "ripieno: {message}");
            ExitCode::from(2)
        }
    }
}

/// Prints on the standard output; a reader that has gone away (`ripieno … | head`) is no failure.
fn print(text: &str) -> Result<(), Failure> {
    match io::stdout().lock().write_all(text.as_bytes()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            Err(Failure(format!("cannot write to the standard output: {error}")))
        }
        _ => Ok(()),
    }
}

/// Colours only on a terminal, and only if nobody asks for none (`NO_COLOR`, no-color.org).
fn colours(stream: &impl IsTerminal) -> bool {
    let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
    let unwanted = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    stream.is_terminal() && !dumb && !unwanted
}

/// Columns of the terminal as the shell tells them, 100 where it does not.
fn columns() -> usize {
    std::env::var("COLUMNS").ok().and_then(|columns| columns.parse().ok()).unwrap_or(100)
}
