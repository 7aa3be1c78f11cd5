//! The examples of the codes of the earlier stages, read out of the pages in `examples/`.

const PAGES: [&str; 6] = [
    include_str!("examples/arrange.md"),
    include_str!("examples/bars.md"),
    include_str!("examples/language.md"),
    include_str!("examples/layout.md"),
    include_str!("examples/lyrics.md"),
    include_str!("examples/names.md"),
];

/// A small source that shows a finding, and the same, mended.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Example {
    /// The source. It leaves out what has nothing to do with the finding (`piece`, `form`), unless
    /// it is whole.
    pub fails: String,
    /// The same, mended.
    pub mended: String,
    /// Is it a whole source?
    pub whole: bool,
}

/// The example of a code; `None` for a code that only a source too long to be printed can show.
#[must_use]
pub fn example(code: &str) -> Option<Example> {
    let heading = format!("\n## {code}\n");
    let page = PAGES.iter().find(|page| page.contains(&heading))?;
    let (_, section) = page.split_once(&heading)?;
    let section = section.split("\n## ").next().unwrap_or(section);
    let mut example = Example::default();
    let mut inside: Option<bool> = None;
    for line in section.lines() {
        match (line.strip_prefix("```"), inside) {
            (Some(_), Some(_)) => inside = None,
            (Some(info), None) => {
                inside = Some(info.contains("mended"));
                example.whole |= info.contains("whole");
            }
            (None, Some(mended)) => {
                let text = if mended { &mut example.mended } else { &mut example.fails };
                text.push_str(line);
                text.push('\n');
            }
            (None, None) => {}
        }
    }
    Some(example)
}

/// All codes that have an example.
pub fn exemplified() -> impl Iterator<Item = &'static str> {
    PAGES.iter().flat_map(|page| page.lines()).filter_map(|line| line.strip_prefix("## "))
}
