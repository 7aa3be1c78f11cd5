//! The command line: see [`ripieno::cli`].

use std::process::ExitCode;

fn main() -> ExitCode {
    ripieno::cli::main()
}
