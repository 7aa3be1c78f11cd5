use super::packed::{PackedBar, PackedLine, Packs, packed as contents};
use super::tree::{
    DirectionWord, DynamicsLine, Element, Fraction, HarmonyStep, MarkTree, PitchTree, Position,
    Spanned, SyllableTree, ValueTree, Word,
};
use crate::diagnostics::{FileId, ItemId, Span};
use crate::music::{Letter, PitchName};

use proptest::prelude::*;

const FILE: FileId = FileId(3);
const ITEM: ItemId = ItemId(70_000);

fn span() -> impl Strategy<Value = Span> {
    let number = || prop_oneof![0..200_u32, any::<u32>()];
    (number(), number()).prop_map(|(start, end)| Span::within(FILE, ITEM, start, end))
}

fn word() -> impl Strategy<Value = Word> {
    ("\\PC{0,9}", span()).prop_map(|(value, span)| Spanned { value, span })
}

fn value() -> impl Strategy<Value = ValueTree> {
    (any::<u32>(), any::<u32>(), any::<u8>()).prop_map(|(numerator, denominator, dots)| ValueTree {
        fraction: Fraction { numerator, denominator },
        dots,
    })
}

fn marks() -> impl Strategy<Value = Vec<MarkTree>> {
    let note = (proptest::collection::vec(pitch(), 0..3), span())
        .prop_map(|(value, span)| Spanned { value, span });
    let mark = (word(), proptest::option::of(value()), proptest::option::of(note));
    proptest::collection::vec(
        mark.prop_map(|(word, value, note)| MarkTree { word, value, note }),
        0..3,
    )
}

fn pitch() -> impl Strategy<Value = PitchTree> {
    (0..7_usize, any::<i8>(), any::<Option<i8>>(), span()).prop_map(
        |(letter, alter, octave, span)| PitchTree {
            name: PitchName::new(Letter::ALL[letter], alter),
            octave,
            span,
        },
    )
}

/// A bar of so much without a number.
fn packed<T: Packs>(all: &[Spanned<T>]) -> PackedBar<T> {
    PackedBar::new((FILE, ITEM), None, Span::within(FILE, ITEM, 0, 0), &contents(all))
}

fn steps() -> impl Strategy<Value = Vec<Spanned<HarmonyStep>>> {
    let step = prop_oneof![
        value().prop_map(HarmonyStep::Value),
        ("\\PC{0,3}", any::<bool>()).prop_map(|(tonic, minor)| HarmonyStep::Key(tonic, minor)),
        "\\PC{0,9}".prop_map(HarmonyStep::Symbol),
        any::<Option<u32>>().prop_map(HarmonyStep::Rest),
    ];
    let placed = (step, span()).prop_map(|(value, span)| Spanned { value, span });
    proptest::collection::vec(placed, 0..9)
}

fn syllables() -> impl Strategy<Value = Vec<Spanned<SyllableTree>>> {
    let text = ("\\PC{0,9}", any::<bool>(), any::<bool>())
        .prop_map(|(text, continues, goes_on)| SyllableTree::Text { text, continues, goes_on });
    let hold = any::<bool>().prop_map(|goes_on| SyllableTree::Hold { goes_on });
    let placed =
        (prop_oneof![text, hold], span()).prop_map(|(value, span)| Spanned { value, span });
    proptest::collection::vec(placed, 0..9)
}

fn position() -> impl Strategy<Value = Position> {
    let beat = proptest::option::of(any::<u32>());
    (any::<u32>(), beat, span()).prop_map(|(bar, beat, span)| Position { bar, beat, span })
}

fn dynamics() -> impl Strategy<Value = DynamicsLine> {
    let word = (word(), any::<bool>()).prop_map(|(word, quoted)| DirectionWord { word, quoted });
    let words = proptest::collection::vec(word, 0..3);
    (position(), proptest::option::of(position()), words)
        .prop_map(|(from, to, words)| DynamicsLine { from, to, words })
}

fn elements() -> impl Strategy<Value = Vec<Spanned<Element>>> {
    let words = || {
        let word =
            (word(), any::<bool>()).prop_map(|(word, quoted)| DirectionWord { word, quoted });
        proptest::collection::vec(word, 0..3)
    };
    let plain = prop_oneof![
        value().prop_map(Element::Value),
        (proptest::collection::vec(pitch(), 0..4), marks()).prop_map(|(p, m)| Element::Note(p, m)),
        marks().prop_map(Element::Stroke),
        (any::<Option<u32>>(), marks()).prop_map(|(bars, marks)| Element::Rest(bars, marks)),
        marks().prop_map(Element::Hold),
        words().prop_map(Element::Direction),
        Just(Element::SlurStart),
        Just(Element::SlurEnd),
    ];
    let placed = |value: BoxedStrategy<Element>| {
        (value, span()).prop_map(|(value, span)| Spanned { value, span }).boxed()
    };
    let element = plain.boxed().prop_recursive(2, 12, 4, move |inner| {
        let inner = proptest::collection::vec(placed(inner), 0..4);
        prop_oneof![
            (any::<u32>(), any::<u32>(), inner.clone())
                .prop_map(|(a, n, i)| Element::Tuplet(a, n, i)),
            (any::<bool>(), inner).prop_map(|(crushed, inner)| Element::Grace(crushed, inner)),
        ]
    });
    proptest::collection::vec(placed(element.boxed()), 0..12)
}

proptest! {
    #[test]
    fn what_is_packed_comes_back(elements in elements()) {
        prop_assert_eq!(packed(&elements).read(), elements);
    }

    #[test]
    fn so_do_chords_syllables_and_dynamics(
        steps in steps(), syllables in syllables(), line in dynamics()
    ) {
        prop_assert_eq!(packed(&steps).read(), steps);
        prop_assert_eq!(packed(&syllables).read(), syllables);
        prop_assert_eq!(PackedLine::new((FILE, ITEM), &line).read(), line);
    }

    #[test]
    fn a_bar_keeps_its_number_and_its_place(
        number in proptest::option::of((any::<u32>(), span())), place in span(),
        broken in any::<bool>(), elements in elements()
    ) {
        let number = number.map(|(value, span)| Spanned { value, span });
        let bar: PackedBar<Element> = match broken {
            true => PackedBar::broken_one((FILE, ITEM), number.clone(), place),
            false => PackedBar::new((FILE, ITEM), number.clone(), place, &contents(&elements)),
        };
        prop_assert_eq!((bar.number(), bar.span(), bar.broken()), (number, place, broken));
        prop_assert_eq!(bar.read(), if broken { Vec::new() } else { elements });
    }
}

#[test]
fn a_note_takes_few_bytes() {
    let note = |at: u32| Spanned {
        value: Element::Note(
            vec![PitchTree {
                name: PitchName::new(Letter::D, 0),
                octave: Some(5),
                span: Span::within(FILE, ITEM, at, at + 2),
            }],
            Vec::new(),
        ),
        span: Span::within(FILE, ITEM, at, at + 2),
    };
    let bar: Vec<_> = (0..100).map(|at| note(3 * at)).collect();
    assert!(contents(&bar).len() <= 1000);
}
