use super::elements::{Elements, Packer};
use super::tree::{
    DirectionWord, Element, Fraction, MarkTree, PitchTree, Spanned, ValueTree, Word,
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

fn packed(elements: &[Spanned<Element>]) -> Elements {
    let mut packer = Packer::default();
    elements.iter().for_each(|element| packer.element(element));
    Elements::new(FILE, ITEM, packer)
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
    assert!(packed(&bar).packed() <= 1000);
}
