//! The declared harmony: chord symbols with exact times.

use super::Resolver;
use super::counting::{BarCount, Counting};
use super::form::{bad_value, exact, read_key};
use super::local_keys::hear;
use super::piece::{BarIndices, Bars, Form, HarmonyEvent};
use crate::diagnostics::{Diagnostic, Span};
use crate::music::{Chord, ChordError, ChordQuality, Key, Time};
use crate::syntax::{HarmonyBar, HarmonyStep, HarmonyTree};

/// The chords, and the bars in which they could not be understood.
pub(super) fn harmony(
    cx: &mut Resolver,
    tree: &HarmonyTree,
    form: &Form,
) -> (Vec<HarmonyEvent>, Bars) {
    let mut events = Vec::new();
    let mut local = Local::default();
    let mut unsure = Bars::new();
    let mut count = BarCount::new(Counting::Whole);
    for (place, bar) in tree.bars.iter().enumerate() {
        let following = tree.bars.get(place + 1).and_then(|bar| bar.number.as_ref());
        let numbers = (bar.number.as_ref(), following);
        // What could not be read behind the last bar need not be a bar.
        if bar.broken && bar.number.is_none() && count.next >= form.bars.len() {
            break;
        }
        let (before, expected) = (cx.diagnostics.len(), count.next);
        let Some(index) = count.index(cx, form, numbers, bar.span) else { break };
        let whole = form.whole(index);
        count.next = whole.after;
        if !bar.broken {
            local.begin(form, index);
            bar_of_chords(cx, form, (index, bar), &mut local, &mut events);
        }
        if bar.broken || cx.errors_since(before) || count.is_off() {
            BarIndices::new(expected.min(index), whole.after).add(&mut unsure);
        }
    }
    if count.is_off() {
        BarIndices::new(count.next, form.bars.len()).add(&mut unsure);
    }
    events.sort_by_key(|(event, _)| event.start);
    let (mut events, declared): (Vec<HarmonyEvent>, Vec<Option<Key>>) = events.into_iter().unzip();
    hear(form, &mut events, &declared);
    (events, unsure)
}

/// The key that the harmony declares, until another is declared or the form changes its key.
#[derive(Default)]
struct Local {
    key: Option<Key>,
    /// The last bar that was read.
    bar: usize,
}

impl Local {
    /// A bar begins.
    fn begin(&mut self, form: &Form, bar: usize) {
        let since = self.bar.min(bar)..bar;
        if since.into_iter().any(|bar| form.bars[bar].key != form.bars[bar + 1].key) {
            self.key = None;
        }
        self.bar = bar;
    }
}

fn bar_of_chords(
    cx: &mut Resolver,
    form: &Form,
    (index, bar): (usize, &HarmonyBar),
    local: &mut Local,
    events: &mut Vec<(HarmonyEvent, Option<Key>)>,
) {
    let frame = &form.bars[index];
    let (_, end) = form.times_of(form.whole(index));
    let mut at = frame.start;
    let mut value: Option<Time> = None;
    for step in &bar.steps {
        match &step.value {
            HarmonyStep::Value(written) => match exact(*written) {
                Ok(time) => value = Some(time),
                Err(message) => return cx.push(bad_value(step.span, message)),
            },
            HarmonyStep::Key(tonic, minor) => {
                local.key = read_key(cx, tonic, *minor, step.span).or(local.key);
            }
            HarmonyStep::Symbol(symbol) => {
                if at >= end {
                    cx.counted.chords(index, cx.diagnostics.len());
                    cx.push(too_long(frame.number, step.span));
                    return;
                }
                let length = value.unwrap_or(end - at).min(end - at);
                if value.is_some_and(|value| at + value > end) {
                    cx.counted.chords(index, cx.diagnostics.len());
                    cx.push(too_long(frame.number, step.span));
                }
                match Chord::read(symbol) {
                    Ok(chord) => {
                        let key = form.bar_at(at).key;
                        let event = HarmonyEvent { start: at, length, chord, key, span: step.span };
                        events.push((event, local.key));
                    }
                    Err(error) => cx.push(unknown_chord(symbol, &error, step.span)),
                }
                at += length;
            }
        }
    }
    // The last chord of a bar that is not filled holds on: harmony has no rests.
    if at < end
        && let Some((last, _)) = events.last_mut().filter(|(last, _)| last.start >= frame.start)
    {
        last.length = end - last.start;
    }
}

fn too_long(bar: i32, span: Span) -> Diagnostic {
    Diagnostic::error("bars/too-long", span, format!("The chords of bar {bar} overflow the bar."))
        .with_text("it overflows here")
        .with_help("A chord without a value fills the rest of its bar; give values such as `1/4`.")
        .with_bars(bar, bar)
}

/// What may follow the root of a chord symbol.
fn known_qualities() -> String {
    let suffixes: Vec<&str> =
        ChordQuality::all().map(ChordQuality::suffix).filter(|suffix| !suffix.is_empty()).collect();
    format!(
        "Known after a root: nothing for major, {}; then a slash and a bass.",
        suffixes.join(", ")
    )
}

fn unknown_chord(symbol: &str, error: &ChordError, span: Span) -> Diagnostic {
    let (message, help) = match error {
        ChordError::Root(_) if symbol == "key" => (
            "`key` stands here without a whole key.".to_string(),
            "The key in which the chords are heard has a tonic and a mode: `key D minor`."
                .to_string(),
        ),
        ChordError::Root(_) => (
            format!("`{symbol}` is not a chord symbol: it does not begin with a root from A to G."),
            "Write the root as a capital letter: `Dm`, `Bb7`, `F#dim`. German H is `B`."
                .to_string(),
        ),
        ChordError::Quality { suffix, .. } => (
            format!("Unknown chord `{symbol}`: `{suffix}` is not a known suffix."),
            known_qualities(),
        ),
        ChordError::Bass(bass) => (
            format!("`{bass}` after the slash of `{symbol}` is not a bass note."),
            "Write a note name: `Dm/F`.".to_string(),
        ),
    };
    Diagnostic::error("harmony/unknown-chord", span, message).with_help(help)
}
