//! Drafts on trial: compiled and checked until nothing is wrong with them.

use super::*;

/// Where drafts are compiled and checked.
pub(super) struct Bench<'a> {
    pub(super) session: &'a mut Session,
    pub(super) root: FileId,
    /// Where in the text the draft stands.
    pub(super) base: usize,
    pub(super) name: &'a str,
    pub(super) asked: &'a Asked,
    /// How many drafts were tried.
    pub(super) tried: usize,
}

impl Bench<'_> {
    /// The errors and warnings of a draft, with its text and where its lines stand.
    fn wrong(&mut self, plan: &Plan) -> (String, Vec<Span>, Vec<Found>) {
        self.tried += 1;
        let (text, spans) = plan.text(self.name, self.asked);
        let mut found = findings(self.session, self.root, self.base, &text, self.name);
        found.retain(|found| found.severity != Severity::Advice);
        (text, spans, found)
    }

    /// Lets give way whatever an error or a warning speaks of, until there is none; or else the draft that
    /// has the fewest, with what they say. Advice is left for the arranger to weigh.
    pub(super) fn settle(&mut self, plan: &mut Plan) -> Result<String, (String, BTreeSet<String>)> {
        let mut least: Option<(usize, String, BTreeSet<String>)> = None;
        loop {
            let (text, spans, wrong) = self.wrong(plan);
            if wrong.is_empty() {
                return Ok(text);
            }
            if least.as_ref().is_none_or(|(least, ..)| wrong.len() < *least) {
                let left = wrong.iter().map(|found| found.message.clone()).collect();
                least = Some((wrong.len(), text, left));
            }
            let mut moved = false;
            for found in &wrong {
                moved |= plan.give_way(found, &spans, self.base);
            }
            if !moved || self.tried >= MOST_RUNS {
                let (_, text, left) = least.unwrap_or_default();
                return Err((text, left));
            }
        }
    }

    /// Gives whoever rests throughout something to do that brings no error and no warning, and gives the
    /// draft back; `text` is what it is without.
    pub(super) fn employ(&mut self, plan: &mut Plan, text: String) -> String {
        let mut best = text;
        for row in 0..plan.rows.len() {
            if !plan.rests_throughout(row) || self.asked.lean == Lean::Lean {
                continue;
            }
            for (slot, task) in plan.could_do(row) {
                if self.tried >= MOST_RUNS {
                    return best;
                }
                let before = std::mem::replace(&mut plan.slots[slot].chosen, task);
                let (text, _, wrong) = self.wrong(plan);
                if wrong.is_empty() {
                    best = text;
                    break;
                }
                plan.slots[slot].chosen = before;
            }
        }
        best
    }
}

/// Of a kept line whose player is missing: no draft can help that, so its remedy is told.
const KEPT_PLAYER: &str = "names/kept-player";

/// A finding about the draft.
pub(super) struct Found {
    pub(super) code: &'static str,
    pub(super) severity: Severity,
    pub(super) message: String,
    /// Bytes of the text of its places.
    pub(super) places: Vec<usize>,
    pub(super) bars: Option<BarNumbers>,
    pub(super) player: Option<String>,
}

/// What is found about a draft at the end of the text.
fn findings(
    session: &mut Session,
    root: FileId,
    base: usize,
    text: &str,
    name: &str,
) -> Vec<Found> {
    session.edit(root, base..base, text);
    let all = session.findings(root);
    let sources = session.sources();
    let found = all
        .iter()
        .filter(|finding| {
            let primary = finding.primary.span;
            let inside = primary.file == root && sources.range(primary).start >= base;
            // A kept line whose player is missing is shown where it stands.
            inside
                || finding.code == KEPT_PLAYER
                || finding.scoring.as_deref() == Some(name)
                || finding.also_in.iter().any(|scoring| scoring == name)
        })
        // What the kept scoring has too is no fault of the draft.
        .filter(|finding| finding.scoring.is_none() || finding.scoring.as_deref() == Some(name))
        .map(|finding| {
            let spans = std::iter::once(&finding.primary).chain(&finding.labels);
            let places = spans
                .filter(|label| label.span.file == root)
                .map(|label| sources.range(label.span).start)
                .filter(|start| *start >= base)
                .collect();
            Found {
                code: finding.code,
                severity: finding.severity,
                message: match &finding.help {
                    Some(help) if finding.code == KEPT_PLAYER => {
                        format!("{} {help}", finding.message)
                    }
                    _ => finding.message.clone(),
                },
                places,
                bars: finding.bars,
                player: finding.player.clone(),
            }
        })
        .collect();
    session.edit(root, base..base + text.len(), "");
    found
}
