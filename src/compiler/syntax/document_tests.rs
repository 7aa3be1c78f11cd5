//! A document loses nothing, and reads after an edit what a fresh reading would.

use crate::narrow::Narrow;
use std::collections::HashMap;

use pest::Parser;

use super::context::{Grammar, Rule};
use super::{Declaration, Document, Node};
use crate::diagnostics::{FileId, ItemId, Sources};

/// The same things in a less tidy hand.
const LOOSE: &str = "\u{FEFF}use \"forces.ripieno\" // who plays\r\n\r\npiece   \"Ferry\"\r\n{\r\n  composer \"House copyist\" // our own\r\n}\r\nvoice\ttune { // from the bank\r\n1: // first\r\n 1/4 D5 // then\r\n A4 | 2: [p] D5 =\r\n\r\n|\r\n3: grace( 1/16 E5 F ) 1/4 G A[stacc , accent] |}\r\nvoice low { 1: 1/2 D3 | // one\r\n 2: D3 | 3: 1/4 Q | }\r\n\r\n// the end\r\n";

const SMALL: &str = "// A bell.\npiece \"Bell\" { composer \"House copyist\" }\n\nform {\n  1 metre 2/4, key D major // bright\n  4 end\n}\n\
    voice tune {\n  // up\n  1: 1/4 D5 A4 | 2: {1/8 B4 C#5} 1/4 D |\n\n  3: 3:2(1/8 E F\n G) 1/4 A\n  4: 1/2 D |\n}\n\
    harmony { 1: D | 2: 1/4 G D |\n 3: A7 | 4: D | }\ndynamics {\n 1 p\n 2 cresc \n}\n\
    ensemble duo {\n  era 1770\n  oboe 2, // two\n  horn 2 crook D\n}\n\
    scoring plain for duo {\n  oboe.1 plays tune as melody, solo // leads\n  allow compass on horn bars 1..2 \"it is so\"\n\
      horn.1 writes bars 1 {\n 1: 1/2 D4 |\n }\n  horn.2 doubles horn.1\n}\n";

/// What there is in a document, with the numbers of items counted anew from the beginning.
fn shape(document: &Document) -> String {
    let numbers: HashMap<u32, usize> =
        document.items().enumerate().map(|(place, (_, item))| (item.id.0, place)).collect();
    assert_eq!(numbers.len(), document.items().count(), "a number is given twice");
    let mut shape = String::new();
    for (start, item) in document.items() {
        shape.push_str(&format!(
            "{start} {} {:?} {:?} {:?}\n",
            item.length,
            item.within,
            item.node,
            item.findings()
        ));
    }
    shape.push_str(&format!("{:?}\n", document.tree()));
    shape.push_str(&format!("{:?}\n", document.findings().collect::<Vec<_>>()));
    // The numbers stand behind `ItemId(`.
    let mut pieces = shape.split("ItemId(");
    let mut same = pieces.next().unwrap_or_default().to_string();
    for piece in pieces {
        let (number, rest) = piece.split_once(')').unwrap_or((piece, ""));
        let number: u32 = number.parse().unwrap_or(0);
        same.push_str(&format!("#{:?}{rest}", numbers.get(&number)));
    }
    same
}

fn written(document: &Document) -> String {
    document
        .items()
        .map(|place| document.gap(place).to_string() + document.text_of(place))
        .collect()
}

#[test]
fn gaps_and_items_are_the_text_byte_for_byte() {
    for text in [LOOSE, SMALL, "voice a {\n 1: 1/4 C5 // no end", "nonsense\n\n// end\n"] {
        assert_eq!(written(&Document::new(FileId(0), text)), text);
    }
}

#[test]
fn every_comment_stands_in_a_gap_or_among_the_lines_of_a_bar() {
    for text in [LOOSE, SMALL] {
        let document = Document::new(FileId(0), text);
        let comments = |text: &str| text.matches("//").count();
        let in_gaps: usize = document.items().map(|place| comments(document.gap(place))).sum();
        let bars = document.items().filter(|(_, item)| matches!(item.node, Node::Bar(_)));
        let in_bars: usize = bars.map(|place| comments(document.text_of(place))).sum();
        assert!(in_gaps > 0);
        assert_eq!(in_gaps + in_bars, comments(text));
    }
}

#[test]
fn a_gap_is_what_the_grammar_leaves_out_between_items() {
    let signs = ["", " ", "\t", "\u{FEFF}", "\u{A0}", "\n", "\r\n", "\r", "// so\n", "/", "x"];
    let pairs = signs.iter().flat_map(|one| signs.iter().map(move |two| format!("{one}{two}")));
    for text in pairs.flat_map(|pair| signs.map(|last| format!("{pair}{last}use \"a\""))) {
        let whole = Grammar::parse(Rule::between, &text).map_or(0, |pairs| pairs.as_str().len());
        let document = Document::new(FileId(0), text.as_str());
        assert_eq!(document.items().next().map(|(start, _)| start), Some(whole), "{text:?}");
    }
}

#[test]
fn items_see_what_the_grammar_sees_in_the_whole() {
    for text in [LOOSE, SMALL] {
        let whole = Grammar::parse(Rule::file, text).unwrap().flatten();
        let is_bar = |rule| matches!(rule, Rule::bar | Rule::broken_bar);
        let bars = whole.filter(|pair| is_bar(pair.as_rule()));
        let whole: Vec<&str> = bars.map(|pair| pair.as_str().trim_end()).collect();
        let document = Document::new(FileId(0), text);
        let bars = document.items().filter(|(_, item)| matches!(item.node, Node::Bar(_)));
        let items: Vec<&str> = bars.map(|place| document.text_of(place)).collect();
        // Bars of written notes belong to their line.
        let own: Vec<&str> = whole.into_iter().filter(|bar| items.contains(bar)).collect();
        assert_eq!(items, own);
        assert!(items.len() > 3);
    }
}

#[test]
fn an_edit_of_a_bar_leaves_all_other_items_as_they_are() {
    let mut document = Document::new(FileId(0), SMALL);
    let before: Vec<ItemId> = document.items().map(|(_, item)| item.id).collect();
    let ensemble = |document: &Document| {
        let of_ensemble = document.blocks().iter().map(|block| block.declaration.clone());
        of_ensemble.into_iter().find(|d| matches!(**d, Declaration::Ensemble(_))).unwrap()
    };
    let kept = ensemble(&document);
    let at = SMALL.find("A4 |").unwrap();
    document.edit(at..at + 2, "F#4 // here\n");
    let after: Vec<ItemId> = document.items().map(|(_, item)| item.id).collect();
    assert_eq!(before, after);
    assert!(std::sync::Arc::ptr_eq(&kept, &ensemble(&document)));
    let end = SMALL.find("4: 1/2").unwrap() + "F#4 // here\n".len() - 2;
    document.edit(end..end, "5: 1/2 E5 |\n  ");
    let after: Vec<ItemId> = document.items().map(|(_, item)| item.id).collect();
    assert_eq!(after.len(), before.len() + 1);
    assert!(before.iter().all(|id| after.contains(id)));
}

#[test]
fn a_finding_behind_an_item_follows_what_stands_there() {
    // A line that breaks off, with blanks behind it; written notes that are not closed.
    for (text, gap, with) in [
        ("form {\n  1 metre 4/4, key  \n  2 end\n}\n", "  \n  2", "\n  2"),
        ("form {\n  1 metre 4/4, key\n  2 end\n}\n", "\n  2", " \u{FEFF} \n\n  2"),
        ("form {\n  1 metre 4/4, key \u{A0}// so\n  2 end\n}\n", "// so", ""),
        ("scoring a for b {\n  oboe writes {\n  1: 1/4 C5 |\n\n\nvoice v { }\n", "\n\n\n", "\n"),
        (
            "scoring a for b {\n  oboe writes {\n  1: 1/4 C5 |\n\n\nvoice v { }\n",
            "\n\n\n",
            "// so\n",
        ),
        ("use \"a\n\nform {\n}\n", "\n\nform", " \nform"),
    ] {
        let mut document = Document::new(FileId(0), text);
        let at = text.find(gap).unwrap();
        document.edit(at..at + gap.len(), with);
        let fresh = Document::new(FileId(0), document.text());
        assert_eq!(shape(&document), shape(&fresh), "{text}");
    }
}

/// Random numbers that are the same in every run (xorshift).
struct Random(u64);

impl Random {
    fn below(&mut self, most: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % most.max(1) as u64).narrow::<usize>()
    }
}

const BITS: [&str; 42] = [
    "|",
    "{",
    "}",
    "\n",
    "3:2(",
    ")",
    "12:",
    " ",
    "//",
    "\"",
    "1/4 ",
    "=",
    "rest ",
    "voice v {\n",
    "x",
    "D5 ",
    "[p]",
    "scoring a for b {\n",
    "#",
    "&",
    "\r\n",
    "writes {",
    "grace(",
    ",",
    "bars 1",
    "form {\n",
    "}\n",
    "\n\n",
    "🎻",
    "\u{FEFF}",
    "use \"x\"\n",
    "keep a",
    "1 metre 3/4",
    " |\n 9: ",
    "plays tune",
    "piece \"",
    "allow ",
    "oboe",
    "\r",
    "ensemble e {",
    "1 key ",
    "\u{A0}",
];

#[test]
fn after_any_edits_a_document_is_what_a_fresh_reading_gives() {
    let rounds = if cfg!(debug_assertions) { 40 } else { 2_000 };
    let mut random = Random(0x9E37_79B9_7F4A_7C15);
    for round in 0..rounds {
        let mut document = Document::new(FileId(0), SMALL);
        for _ in 0..25 {
            let length = document.text().len();
            let start = random.below(length + 1);
            let end = if random.below(2) == 0 { start } else { start + random.below(9) };
            let with = if random.below(4) == 0 { "" } else { BITS[random.below(BITS.len())] };
            let before = document.text().to_string();
            document.edit(start..end, with);
            let fresh = Document::new(FileId(0), document.text());
            assert_eq!(written(&document), document.text());
            assert!(
                shape(&document) == shape(&fresh),
                "round {round}: {start}..{end} {with:?} in\n{before}\n--- kept\n{}\n--- fresh\n{}",
                shape(&document),
                shape(&fresh)
            );
        }
    }
}

#[test]
fn spans_are_shown_where_they_stand_now() {
    let mut document = Document::new(FileId(0), SMALL);
    document.edit(0..0, "// Another line before.\n");
    let mut sources = Sources::new();
    let file = sources.add("bell", document.text());
    sources.set_items(file, document.places());
    let tree = document.tree();
    let names = tree.declarations.iter().filter_map(|declaration| match &**declaration {
        Declaration::Voice(voice) => Some(voice.name.span),
        _ => None,
    });
    for span in names {
        assert_eq!(sources.text(span), "tune");
        assert_eq!(document.range(span), sources.range(span));
    }
}

#[test]
fn of_very_many_mistakes_the_first_are_told_and_an_edit_gives_what_a_fresh_reading_gives() {
    let most = crate::limits::FINDINGS;
    let head = "voice tune {\n  1: 1/4 D5 A4 |\n";
    let broken = "  2: 1/4 Q5 |\n";
    let mut document =
        Document::new(FileId(0), head.to_string() + &broken.repeat(most - 1) + "}\n");
    let told = |document: &Document| {
        document.findings().filter(|finding| !finding.message.is_empty()).count()
    };
    assert_eq!(told(&document), most - 1);
    // One more and two more, then one less at the very beginning.
    for with in [broken, broken, "  3: 1/4 D5 A4 |\n"] {
        let place = if with == broken {
            head.len()..head.len()
        } else {
            head.len()..head.len() + broken.len()
        };
        document.edit(place, with);
        assert_eq!(shape(&document), shape(&Document::new(FileId(0), document.text())));
        assert!(told(&document) >= most - 1 && told(&document) <= most);
    }
    assert_eq!(document.findings().count(), most);
    assert_eq!(told(&document), most);
}
