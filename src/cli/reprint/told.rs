//! What is to be printed, as a table and as a letter.

use ripieno_checker::advise;
use ripieno_compiler::diagnostics::BarNumbers;
use ripieno_compiler::resolve::Piece;

use super::{Action, Bar, Change};

/// Bar numbers with neighbours joined: "3, 7–9"; with their movements, "3, 7–9 of II. Minuet".
fn numbers(bars: &[Bar]) -> String {
    let movements = bars.chunk_by(|one, next| one.movement == next.movement);
    let told = movements.map(|bars| match bars.first().and_then(|bar| bar.movement.as_ref()) {
        Some(movement) => format!("{} of {movement}", in_one(bars)),
        None => in_one(bars),
    });
    told.collect::<Vec<_>>().join("; ")
}

fn in_one(bars: &[Bar]) -> String {
    let mut runs: Vec<BarNumbers> = Vec::new();
    bars.iter().for_each(|bar| BarNumbers::add(&mut runs, bar.number));
    let shown = runs.iter().map(|BarNumbers { first, last }| match first == last {
        true => first.to_string(),
        false => format!("{first}–{last}"),
    });
    shown.collect::<Vec<_>>().join(", ")
}

fn reasons(bars: &[Bar]) -> String {
    let mut reasons: Vec<&str> = bars.iter().map(|bar| bar.why.as_str()).collect();
    reasons.sort_unstable();
    reasons.dedup();
    reasons.join("; ")
}

fn action(change: &Change) -> &'static str {
    match change.action {
        Action::Keep => "keep",
        Action::KeepLayout => "keep (only the layout differs)",
        Action::Print => "print again",
        Action::New => "print: new",
        Action::Withdraw => "withdraw",
    }
}

pub(super) fn table(changes: &[Change]) -> String {
    let head = ["scoring", "part", "do", "bars", "because of", "pages"];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    for change in changes {
        rows.push(vec![
            change.scoring.clone(),
            change.part.clone(),
            action(change).into(),
            change.whole.map_or_else(|| numbers(&change.bars), |_| "all".into()),
            change.whole.map_or_else(|| reasons(&change.bars), str::to_owned),
            match change.action {
                Action::Print | Action::New => format!("about {}", change.pages),
                _ => String::new(),
            },
        ]);
    }
    let to_print = changes.iter().filter(|c| matches!(c.action, Action::Print | Action::New));
    let (parts, pages) = to_print.fold((0, 0), |(parts, pages), c| (parts + 1, pages + c.pages));
    advise::table(&rows)
        + &format!("{parts} of {} parts to print, about {pages} pages\n", changes.len())
}

pub(super) fn letter(piece: &Piece, changes: &[Change]) -> String {
    let mut text = format!("To the librarian\n\n{}: changes to the parts.\n", piece.title);
    let mut scorings: Vec<&str> = changes.iter().map(|change| change.scoring.as_str()).collect();
    scorings.dedup();
    for scoring in scorings {
        text.push_str(&format!("\nScoring {scoring}\n"));
        let of = |wanted: fn(Action) -> bool| {
            changes.iter().filter(move |c| c.scoring == scoring && wanted(c.action))
        };
        let mut any = false;
        for change in of(|action| matches!(action, Action::Print | Action::New)) {
            any = true;
            let bars = match (change.action, change.bars.is_empty()) {
                (Action::New, _) => "a new part".to_owned(),
                (_, true) => format!("the whole part: {}", change.whole.unwrap_or_default()),
                (_, false) => {
                    let word = if change.bars.len() == 1 { "bar" } else { "bars" };
                    format!("{word} {}", numbers(&change.bars))
                }
            };
            text.push_str(&format!("  Please replace {}: {bars}.\n", change.name));
        }
        for change in of(|action| action == Action::Withdraw) {
            any = true;
            text.push_str(&format!("  Please remove {} from the stands.\n", change.name));
        }
        let kept: Vec<&str> = of(|action| matches!(action, Action::Keep | Action::KeepLayout))
            .map(|change| change.name.as_str())
            .collect();
        if !any {
            text.push_str("  Nothing to print: all parts are still right.\n");
        } else if !kept.is_empty() {
            text.push_str(&format!("  Still right: {}.\n", kept.join(", ")));
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn neighbouring_bars_are_joined() {
        let bars = [3, 7, 8, 9, 12].map(|number| Bar {
            number,
            movement: None,
            what: "notes".into(),
            why: "voice tune".into(),
        });
        assert_eq!(numbers(&bars), "3, 7–9, 12");
        assert_eq!(reasons(&bars), "voice tune");
    }
}
