//! `ripieno write-out`.

use std::path::PathBuf;

use super::source::{self, Desk};
use super::{End, Failure, Outcome, files, print};
use ripieno_checker::check;
use ripieno_checker::write_out::{Asked, Refusal, write_out};
use ripieno_compiler::diagnostics::BarNumbers;

/// What `write-out` takes.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The source.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// The scoring whose computed lines are written out; needed where the piece has several.
    #[arg(long, value_name = "NAME")]
    scoring: Option<String>,
    /// Only this player, ensemble line or group (may be given several times).
    #[arg(long = "player", value_name = "PLAYER")]
    players: Vec<String>,
    /// Only these bars: `9..16`, or one bar.
    #[arg(long, value_name = "FROM..TO")]
    bars: Option<BarNumbers>,
    /// Print the new text, and leave the file as it is.
    #[arg(long)]
    print: bool,
    /// Root folder: `use` cannot reach files outside it.
    #[arg(long, value_name = "DIR")]
    root: Option<PathBuf>,
}

pub(super) fn run(arguments: &Arguments) -> Outcome {
    let mut desk = Desk::kept(check::Options::default());
    let root = desk.open(&arguments.file, arguments.root.as_deref())?;
    let mut session = desk.session;
    source::one_movement(&mut session, root)?;
    let known: Vec<String> =
        session.piece(root).scorings.iter().map(|scoring| scoring.name.clone()).collect();
    let scoring = match (&arguments.scoring, &known[..]) {
        (Some(name), _) => name.clone(),
        (None, [only]) => only.clone(),
        (None, _) => return Err(refused(&Refusal::NoScoring(known))),
    };
    let asked = Asked {
        scoring: scoring.clone(),
        players: arguments.players.clone(),
        bars: arguments.bars,
        at: None,
    };
    let written = write_out(&mut session, root, &asked).map_err(|why| refused(&why))?;
    if written.file != root {
        let name = &session.sources().get(written.file).name;
        return Err(Failure(format!("the scoring `{scoring}` is in {name}; write it out there")));
    }
    let old = session.document(root).text().to_string();
    for (range, text) in written.edits.iter().rev() {
        session.edit(root, range.clone(), text);
    }
    let new = session.document(root).text();
    if arguments.print {
        print(new)?;
        return Ok(End::Fine);
    }
    files::replace(&arguments.file, old.as_bytes(), new.as_bytes())?;
    let mut said = format!("written out in `{scoring}`: {}\n", written.players.join(", "));
    if !written.also.is_empty() {
        said.push_str(&format!(
            "with them, because their notes depend on the others': {}\n",
            written.also.join(", ")
        ));
    }
    if !written.others.is_empty() {
        said.push_str(&format!(
            "these scorings work kept lines out afresh and sound otherwise now; compare them: {}\n",
            written.others.join(", ")
        ));
    }
    print(&said)?;
    Ok(End::Fine)
}

fn refused(why: &Refusal) -> Failure {
    Failure(match why {
        Refusal::NoScoring(known) if known.is_empty() => "the piece has no scoring".to_string(),
        Refusal::NoScoring(known) => {
            format!("say which scoring with --scoring NAME; the piece has {}", known.join(", "))
        }
        other => other.to_string(),
    })
}
