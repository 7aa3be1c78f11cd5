//! `ripieno completions` and `ripieno man`: what a shell and `man` want to know of the commands.

use clap::{Command, CommandFactory};
use clap_complete::Shell;

use super::{End, Failure, Outcome, print};

/// What `completions` takes.
#[derive(clap::Args)]
pub(super) struct CompletionsArguments {
    /// The shell.
    shell: Shell,
}

/// What `man` takes.
#[derive(clap::Args)]
pub(super) struct ManArguments {
    /// The command; without one the page of the whole program.
    command: Option<String>,
}

/// Prints a script that completes commands and options.
pub(super) fn completions(arguments: &CompletionsArguments) -> Outcome {
    let mut script = Vec::new();
    clap_complete::generate(arguments.shell, &mut program(), "ripieno", &mut script);
    print(&String::from_utf8_lossy(&script))?;
    Ok(End::Fine)
}

/// Prints a manual page in the format of `man`.
pub(super) fn man(arguments: &ManArguments) -> Outcome {
    let mut program = program();
    program.build();
    let command = match &arguments.command {
        None => program,
        Some(name) => {
            let found = program.get_subcommands().find(|command| command.get_name() == name);
            let found = found.ok_or_else(|| Failure(format!("there is no command `{name}`")))?;
            found.clone().version(env!("CARGO_PKG_VERSION"))
        }
    };
    let mut page = Vec::new();
    let written = clap_mangen::Man::new(command).render(&mut page);
    written.map_err(|error| Failure(format!("cannot make the page: {error}")))?;
    print(&String::from_utf8_lossy(&page))?;
    Ok(End::Fine)
}

fn program() -> Command {
    super::Arguments::command()
}
