//! The program `ripieno`: see `ripieno-cli`.

use std::process::ExitCode;

fn main() -> ExitCode {
    ripieno_cli::main()
}
