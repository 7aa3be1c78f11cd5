//! The declared harmony: chord symbols with exact times, and rests without a chord.

use super::Resolver;
use super::counting::{BarCount, Counting, no_such_rest};
use super::form::{bad_value, exact, read_key};
use super::local_keys::hear;
use super::music::Finding;
use super::piece::{BarIndices, Bars, Form, HarmonyEvent};
use crate::diagnostics::{Diagnostic, Span};
use crate::lists::push_slowly;
use crate::music::{Chord, ChordError, ChordQuality, Key, Time};
use crate::syntax::{HarmonyStep, HarmonyTree, Spanned};

/// The chords, and the bars in which they could not be understood.
pub(super) fn harmony(
    cx: &mut Resolver,
    tree: &HarmonyTree,
    form: &Form,
) -> (Vec<HarmonyEvent>, Bars) {
    let mut chords = Chords::default();
    let mut local = Local::default();
    let mut unsure = Bars::new();
    let mut count = BarCount::new(Counting::Whole);
    count.next = first_bar(tree, form);
    for (place, bar) in tree.bars.iter().enumerate() {
        let following = tree.bars.get(place + 1).and_then(|bar| bar.number());
        let (number, broken) = (bar.number(), bar.broken());
        // What could not be read behind the last bar need not be a bar.
        if broken && number.is_none() && count.next >= form.bars.len() {
            break;
        }
        let (before, expected) = (cx.errors, count.next);
        let Some(index) = count.index(cx, form, (number.as_ref(), following.as_ref()), bar.span())
        else {
            break;
        };
        let (whole, steps) = (form.whole(index), bar.read());
        count.next = whole.after;
        if let Some((span, bars)) = rest_of_bars(&steps) {
            let other = |step: &&Spanned<HarmonyStep>| {
                step.span != span && !matches!(step.value, HarmonyStep::Key(..))
            };
            if let Some(other) = steps.iter().find(other) {
                cx.push(beside_rest(form.bars[index].number, (other.span, span), bars));
            }
            count.next = rest_to(cx, form, index, span, bars);
            continue;
        }
        if !broken {
            local.begin(form, index);
            bar_of_chords(cx, form, (index, &steps), &mut local, &mut chords);
        }
        if broken || cx.errors_since(before) || count.is_off() {
            BarIndices::new(expected.min(index), whole.after).add(&mut unsure);
        }
    }
    if count.is_off() {
        BarIndices::new(count.next, form.bars.len()).add(&mut unsure);
    }
    let Chords { mut events, declared } = chords.in_order();
    hear(form, &mut events, &declared);
    spell(&mut events);
    (events, unsure)
}

/// Chords as they come, and beside each the key that the harmony declares for it.
#[derive(Default)]
struct Chords {
    events: Vec<HarmonyEvent>,
    declared: Vec<Option<Key>>,
}

impl Chords {
    fn push(&mut self, event: HarmonyEvent, declared: Option<Key>) {
        push_slowly(&mut self.events, event);
        push_slowly(&mut self.declared, declared);
    }

    /// The same in order of time.
    fn in_order(self) -> Chords {
        if self.events.is_sorted_by_key(|event| event.start) {
            return self;
        }
        let mut all: Vec<_> = self.events.into_iter().zip(self.declared).collect();
        all.sort_by_key(|(event, _)| event.start);
        let (events, declared) = all.into_iter().unzip();
        Chords { events, declared }
    }
}

/// Spells augmented sixths as they go.
fn spell(events: &mut [HarmonyEvent]) {
    for at in 1..events.len() {
        let next = events[at].chord;
        let from = events[at].start;
        let before = &mut events[at - 1];
        if before.start + before.length == from {
            before.chord = before.chord.before(&next);
        }
    }
}

/// The bar with which the harmony begins: the first whole one, if its number stands before the first
/// chords; the pick-up then has none.
fn first_bar(tree: &HarmonyTree, form: &Form) -> usize {
    let number = tree.bars.first().and_then(|bar| bar.number());
    let [up_beat, whole, ..] = &form.bars[..] else { return 0 };
    let skips = number.is_some_and(|number| i64::from(number.value) == i64::from(whole.number));
    usize::from(up_beat.leads_in() && skips)
}

/// The span and the count of a rest of so many bars.
fn rest_of_bars(steps: &[Spanned<HarmonyStep>]) -> Option<(Span, u32)> {
    steps.iter().find_map(|step| match step.value {
        HarmonyStep::Rest(Some(count)) => Some((step.span, count)),
        _ => None,
    })
}

/// The index of the bar behind so many bars without a chord.
fn rest_to(cx: &mut Resolver, form: &Form, index: usize, span: Span, count: u32) -> usize {
    let room = form.counted_from(index);
    if count == 0 || count as usize > room {
        let help = format!("Write `rest {room}` if there is no chord to the end.");
        cx.push(no_such_rest(form.bars[index].number, span, (count, room)).with_help(help));
    }
    form.after_counted(index, (count.max(1) as usize).min(room))
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
    (index, steps): (usize, &[Spanned<HarmonyStep>]),
    local: &mut Local,
    chords: &mut Chords,
) {
    let frame = &form.bars[index];
    let (_, end) = form.times_of(form.whole(index));
    let mut at = frame.start;
    let mut value: Option<Time> = None;
    let mut rests = false;
    for step in steps {
        match &step.value {
            HarmonyStep::Value(written) => match exact(*written) {
                Ok(time) => value = Some(time),
                Err(message) => return cx.push(bad_value(step.span, message)),
            },
            HarmonyStep::Key(tonic, minor) => {
                local.key = read_key(cx, tonic, *minor, step.span).or(local.key);
            }
            HarmonyStep::Rest(_) | HarmonyStep::Symbol(_) => {
                if at >= end {
                    let told = cx.push_and_know(too_long(frame.number, step.span));
                    cx.counted.chords(index, Finding::of(told, step.span));
                    return;
                }
                let length = value.unwrap_or(end - at).min(end - at);
                if value.is_some_and(|value| at + value > end) {
                    let told = cx.push_and_know(too_long(frame.number, step.span));
                    cx.counted.chords(index, Finding::of(told, step.span));
                }
                rests = !matches!(step.value, HarmonyStep::Symbol(_));
                if let HarmonyStep::Symbol(symbol) = &step.value {
                    match Chord::read(symbol) {
                        Ok(chord) => {
                            let (start, key, span) = (at, form.bar_at(at).key, step.span);
                            let event = HarmonyEvent { start, length, chord, key, span };
                            chords.push(event, local.key);
                        }
                        Err(error) => cx.push(unknown_chord(symbol, &error, step.span)),
                    }
                }
                at += length;
            }
        }
    }
    // The last chord of a bar that is not filled holds on, the last rest too.
    if at < end
        && !rests
        && let Some(last) = chords.events.last_mut().filter(|last| last.start >= frame.start)
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

fn beside_rest(bar: i32, (other, span): (Span, Span), count: u32) -> Diagnostic {
    let bars = if count == 1 { "a whole bar" } else { "whole bars" };
    Diagnostic::error(
        "bars/too-long",
        other,
        format!("`rest {count}` fills bar {bar}, but the bar has chords too."),
    )
    .with_label(span, format!("{bars} without a chord"))
    .with_help(
        "Write a number of bars in a bar of its own; beside chords write `rest` with a value \
         before it, for example `1/4 rest`.",
    )
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

/// Is this what charts print where no chord sounds: "N.C.", "tacet", "tasto solo"?
fn says_no_chord(symbol: &str) -> bool {
    let letters: String = symbol.chars().filter(|c| c.is_alphabetic()).collect();
    ["nc", "tacet", "tasto", "none"].contains(&letters.to_lowercase().as_str())
}

fn unknown_chord(symbol: &str, error: &ChordError, span: Span) -> Diagnostic {
    let (message, help) = match error {
        ChordError::Root(_) if symbol == "key" => (
            "`key` stands here without a whole key.".to_string(),
            "The key in which the chords are heard has a tonic and a mode: `key D minor`."
                .to_string(),
        ),
        ChordError::Root(_) if says_no_chord(symbol) => (
            format!("`{symbol}` is not a chord symbol."),
            "Where no chord sounds, write `rest`.".to_string(),
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

#[cfg(test)]
mod tests {
    use crate::diagnostics::Sources;
    use crate::resolve::{NoFiles, resolve};

    /// The chords of a harmony over a pick-up and four bars of 3/4, each with its beginning and its
    /// length, and the codes of what is wrong with it.
    fn read(harmony: &str) -> (String, Vec<&'static str>) {
        let source = format!(
            "piece \"Rests\" {{ }}\nform {{\n  0 metre 3/4, key C major, pick-up 1/4\n  4 end\n}}\n\
             voice tune {{ 0: 1/4 G4 | 1: rest 4 | }}\nharmony {{ {harmony} }}\n"
        );
        let mut sources = Sources::new();
        let file = sources.add("rests.ripieno", source);
        let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
        let chords = piece.harmony.iter();
        let chords = chords.map(|e| format!("{} {}+{}", e.chord, e.start, e.length));
        (
            chords.collect::<Vec<_>>().join(", "),
            findings.iter().map(|finding| finding.code).collect(),
        )
    }

    #[test]
    fn the_harmony_may_rest_and_leave_the_pick_up_out() {
        let whole = "C 1/4+3/4, G 1/1+1/2, C 5/2+3/4";
        for pick_up in ["", "0: rest | "] {
            let (chords, codes) =
                read(&format!("{pick_up}1: C | 2: 1/2 G 1/4 rest | 3: rest | 4: C |"));
            assert_eq!((chords.as_str(), codes), (whole, vec![]));
        }
        let (chords, codes) = read("1: 1/4 C rest C | 2: rest 2 | 4: 1/2 rest 1/4 G |");
        assert_eq!((chords.as_str(), codes), ("C 1/4+1/4, C 3/4+1/4, G 3/1+1/4", vec![]));
    }

    #[test]
    fn a_rest_that_does_not_fit_is_told() {
        assert_eq!(read("1: C | 2: rest 4 |").1, ["bars/outside"]);
        assert_eq!(read("1: C | 2: G rest 1 | 3: C | 4: C |").1, ["bars/too-long"]);
        assert_eq!(read("1: C | 2: 1/2 G rest | 3: C | 4: C |").1, ["bars/too-long"]);
        assert_eq!(read("2: C | 3: G | 4: C |").1, ["bars/number"]);
    }
}
