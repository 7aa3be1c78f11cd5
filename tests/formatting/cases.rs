//! The canonical form, case by case.

use ripieno::diagnostics::FileId;
use ripieno::format::{apply, edits_of_bar, edits_of_lines, format};
use ripieno::syntax::Document;

fn formatted(text: &str) -> String {
    format(&Document::new(FileId(0), text))
}

/// Holds what a text becomes, and that it then stays so.
fn assert_becomes(text: &str, wanted: &str) {
    let once = formatted(text);
    assert_eq!(once, wanted, "from:\n{text}");
    assert_eq!(formatted(&once), once, "again, from:\n{text}");
}

#[test]
fn numbers_of_bars_end_in_one_column_and_elements_stand_one_blank_apart() {
    assert_becomes(
        "voice  upper{\n 9:1/4  D5   E|\n10: {1/8 D5 E }\t3:2 ( 1/8 F E D ) 1/4 A4[stacc]|\n100:  rest 4[fermata]   |\n1000: = |\n}",
        "voice upper {\n    9: 1/4 D5 E |\n   10: {1/8 D5 E} 3:2(1/8 F E D) 1/4 A4[stacc] |\n  100: rest 4[fermata] |\n  1000: = |\n}\n",
    );
}

#[test]
fn marks_touch_their_notes_and_directions_do_not() {
    assert_becomes(
        "voice a {\n1: [ p,\"so  //  far\" ]1/4[cresc] D5[stacc,accent][f] E [p] {  [ dim ] F [to]} x[trill] x [f] =[tenuto] |\n}\n",
        "voice a {\n    1: [p, \"so  //  far\"] 1/4 [cresc] D5[stacc, accent] [f] E [p] {[dim] F [to]} x[trill] x [f] =[tenuto] |\n}\n",
    );
}

#[test]
fn a_bar_keeps_its_lines_and_its_comments() {
    assert_becomes(
        "voice a {\n  // before\n\n\n  1: 1/4 D5 // first\n E\n\n\n      // alone\n   F |// behind\n2: 3:2(\n1/8 D5 E\n{F\n  // odd\n  }\n) 1/4 A\n|\n  \n}\n",
        "voice a {\n  // before\n\n    1: 1/4 D5  // first\n       E\n\n       // alone\n       F |  // behind\n    2: 3:2(\n       1/8 D5 E\n       {F\n       // odd\n       }) 1/4 A |\n}\n",
    );
}

#[test]
fn blocks_of_one_line_stay_and_others_close_on_a_line_of_their_own() {
    assert_becomes(
        "piece \"Bell\"{licence \"CC0-1.0\"}form{1 metre 2/4\n 2 end}\nharmony { 1:Dm|2: 1/2  Gm 1/4 A7|\n3: F#m7b5//C | 4: G }\nvoice a { 1: 1/4 D5 A4 |2: 1/2 D5| }",
        "piece \"Bell\" { licence \"CC0-1.0\" }\nform {\n  1         metre 2/4\n  2         end\n}\nharmony {\n    1: Dm | 2: 1/2 Gm 1/4 A7 |\n    3: F#m7b5//C | 4: G\n}\nvoice a { 1: 1/4 D5 A4 | 2: 1/2 D5 | }\n",
    );
}

#[test]
fn form_and_dynamics_have_a_column_for_the_bars() {
    assert_becomes(
        "form {\n1 metre 3/4,key D minor ,tempo \"Con  moto\"1/4. at 96.5\n 9 .. 16 repeat//twice\n100..108    double-bar\n24 end\n}\ndynamics {\n1 p\n2..3   cresc\n4 beat 3..12 beat 1 f\"dolce\"\n}\n",
        "form {\n  1         metre 3/4, key D minor, tempo \"Con  moto\" 1/4. at 96.5\n  9..16     repeat  //twice\n  100..108  double-bar\n  24        end\n}\ndynamics {\n  1         p\n  2..3      cresc\n  4 beat 3..12 beat 1  f \"dolce\"\n}\n",
    );
}

#[test]
fn ensembles_are_written_with_one_blank() {
    assert_becomes(
        "ensemble duo extends  solo\n{\nera   1770\n  oboe   2 ,horn 2 crook D,F // two\n group basso=cello,double-bass  8vb\nbudget timpani 40%,horn 80 %\n}\n",
        "ensemble duo extends solo {\n  era 1770\n  oboe 2, horn 2 crook D, F  // two\n  group basso = cello, double-bass 8vb\n  budget timpani 40%, horn 80%\n}\n",
    );
}

#[test]
fn lines_of_a_scoring_stand_in_fixed_columns() {
    assert_becomes(
        "scoring small for strings {\n keep  tiny\nviolin-1 plays upper as melody\noboe.1,oboe.2 doubles violin-1 bars 1 .. 4,9 , as harmony,at pp\"so  far\"\ntenor-trombone rests bars 1..2\nviola plays as as bass\nhorn takes crook G\nallow compass//x on horn bars 1..2   \"it is so\"\n}\n",
        "scoring small for strings {\n  keep tiny\n  violin-1      plays upper                   as melody\n  oboe.1, oboe.2 doubles violin-1 bars 1..4, 9,  as harmony, at pp \"so  far\"\n  tenor-trombone rests bars 1..2\n  viola         plays as                      as bass\n  horn          takes crook G\n  allow compass//x on horn bars 1..2 \"it is so\"\n}\n",
    );
}

#[test]
fn written_notes_stand_further_in() {
    assert_becomes(
        "scoring a for b {\nhorn.1 writes  as highlight{ 1: 1/4 F4 |\n\n\n // up\n 22: {1/2 C5 D} |\n\n}\nhorn.2 writes as rhythm {1: 1/4 x|2: rest|}\nhorn.3 rests\n}\n",
        "scoring a for b {\n  horn.1        writes as highlight {\n      1: 1/4 F4 |\n\n    // up\n     22: {1/2 C5 D} |\n  }\n  horn.2        writes as rhythm { 1: 1/4 x | 2: rest | }\n  horn.3        rests\n}\n",
    );
}

#[test]
fn comments_stay_where_they_are_and_empty_lines_do_not_pile_up() {
    assert_becomes(
        "\u{FEFF}\n\n  // A bell.   \n\n\n\nuse   \"forces.ripieno\"   // forces\n\n\n// form\n// again\n  form { // here\n\n  1 metre 2/4  \n\n\n 2 end //   there  \n\n      // last\n\n}   // done\n\n\n  // over",
        "// A bell.\n\nuse \"forces.ripieno\"  // forces\n\n// form\n// again\nform {  // here\n  1         metre 2/4\n\n  2         end  //   there\n\n  // last\n}  // done\n\n// over\n",
    );
}

#[test]
fn line_ends_of_other_systems_become_line_feeds_everywhere() {
    assert_becomes(
        "form {\r\n  1  metre 2/4\r  1  metre  ?\r\n  2  end\r\n}\r\nwhat is\r\n  this?\r\n",
        "form {\n  1         metre 2/4\n  1  metre  ?\n  2         end\n}\nwhat is\n  this?\n",
    );
}

#[test]
fn what_cannot_be_read_stays_as_it_is() {
    assert_becomes(
        "voice a {\n 1:  1/4   H5 |\n 2: 1/4  D5\n 3:  1/4 D5 |   4:  1/4  Q |  5: 1/4   D5 |\n}\nensemble b {\n   era  soon\n era 1770\n}\nscoring  x {\n  oboe  palys  a\n}\n",
        "voice a {\n 1:  1/4   H5 |\n 2: 1/4  D5\n    3: 1/4 D5 |   4:  1/4  Q |  5: 1/4 D5 |\n}\nensemble b {\n   era  soon\n  era 1770\n}\nscoring  x {\n  oboe  palys  a\n}\n",
    );
    // A block that no brace closes ends with its last entry, not with the end of the file.
    assert_becomes("ensemble duo { er", "ensemble duo { er\n");
    assert_becomes("ensemble duo { er \n\n", "ensemble duo { er\n");
    let nothing = "\u{FEFF}\r\n ";
    assert_eq!(formatted(nothing), nothing);
}

#[test]
fn a_range_of_lines_changes_no_other_line() {
    let text = "form {\n 1   metre 2/4\n\n\n 2   end   \n 3   end\n}\n";
    let document = Document::new(FileId(0), text);
    let at = |lines| apply(text, &edits_of_lines(&document, lines));
    assert_eq!(at(0..1), text);
    assert_eq!(at(1..2), text.replace(" 1   metre", "  1         metre"));
    assert_eq!(at(4..5), text.replace(" 2   end   \n", "  2         end\n"));
    assert_eq!(at(2..4), text.replace("\n\n\n", "\n\n"));
    assert_eq!(at(0..100), formatted(text));
}

#[test]
fn a_bar_line_that_is_typed_brings_its_bar_into_form() {
    let text = "voice a {\n1: 1/4   D5 |  2:  1/4 D5   E|\n 3:   rest |\n}\n\n\nscoring x for y {\n oboe  writes as bass {\n1:   1/4 D5 |\n2:  rest   |\n}\n}\n";
    let document = Document::new(FileId(0), text);
    let typed = |what: &str| {
        let byte = text.find(what).unwrap() + what.len();
        apply(text, &edits_of_bar(&document, byte))
    };
    assert_eq!(typed("1: 1/4   D5 |"), text.replacen("1: 1/4   D5 |", "    1: 1/4 D5 |", 1));
    assert_eq!(
        typed("D5   E|"),
        text.replace("1: 1/4   D5 |  2:  1/4 D5   E|", "    1: 1/4 D5 | 2: 1/4 D5 E |")
    );
    assert_eq!(typed("2:  rest   |"), text.replace("2:  rest   |", "      2: rest |"));
    assert_eq!(typed("3:   re"), text);
}
