// Writes syntaxes/ripieno.tmLanguage.json. `node scripts/grammar.mjs --check` only says whether the
// file is as it would be written.
//
// TextMate grammars know lines and regular expressions, so the shape of a source is carried by
// begin/end pairs. Whatever is left open ends where the compiler would end it: a mark at its line,
// a tuplet at its bar, a block at the next declaration.

import { readFileSync, writeFileSync } from "node:fs";

// Small pieces of regular expressions

const blanks = "[ \\t\\x{FEFF}\\x{A0}]*";
/** No character of a name follows. */
const wordEnd = "(?![\\p{L}0-9'-])";
const wordStart = "(?<![\\p{L}0-9'-])";
const name = "\\p{Ll}[\\p{L}0-9-]*";
const anyWord = "\\p{L}[\\p{L}0-9-]*";
const part = `${name}(?:\\.[0-9]+)?`;
const who = `${part}(?:${blanks},${blanks}${part})*`;
const accidental = "(?:##|#|bb|b|♯♯|♯|♭♭|♭|𝄪|𝄫|♮)";
const value = "[0-9]+/[0-9]+\\.{0,3}(?![\\p{L}0-9'/.-])";
const declarations = "(?:use|piece|form|harmony|dynamics|voice|lyrics|instrument|ensemble|scoring|layout)";
const verbs = "(?:plays?|doubles?|sustains?|realises?|signals?|highlights?|writes?|rests?|takes?)";
const octaves = "(?:8va|8vb|15ma|15mb)";

const marks = [
    "stacc", "staccatissimo", "tenuto", "accent", "marcato", "fermata", "trill", "mordent", "turn",
    "up-bow", "down-bow", "harmonic", "stopped", "open", "breath", "arpeggio", "tremolo",
];
const dynamics = ["ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "fp", "sf", "sfz"];
const techniques = ["pizz", "arco", "muted", "unmuted"];
const roles = ["melody", "bass", "harmony", "rhythm", "highlight"];
const pieceLines = ["subtitle", "composer", "arranger", "licence", "revision", "movement", "as", "attacca", "bars", "marks", "through", "afresh"];
const qualities = [
    "maj7", "maj", "M7", "M", "m\\(maj7\\)", "mmaj7", "m7b5", "m7♭5", "min7", "min6", "min", "m7", "m6",
    "m", "-7", "-", "dim7", "dim", "°7", "°", "o7", "o", "ø7", "ø", "aug7", "aug", "\\+7", "\\+", "sus2",
    "sus4", "sus", "7sus4", "7sus", "dom7", "7b9", "7♭9", "7b5", "7♭5", "7#5", "7♯5", "7", "6", "9", "maj9", "M9", "min9", "m9", "madd9", "add9",
];

/** One of some words, whole. */
const oneOf = (...words) => `${wordStart}(?:${words.join("|")})${wordEnd}`;
/** The next line begins a declaration. */
const nextDeclaration = `(?=^${blanks}${declarations}(?![\\p{L}0-9'-]))`;
/** `}` where it closes a block of bars: first on its line, after a bar line, or after the `{`. */
const closesBars = `(?:^${blanks}|(?<=\\|)${blanks}|\\G${blanks})(\\})`;
const lineStart = `(?:^|(?<=\\{))${blanks}`;

// Rules

const include = (...names) => names.map((name) => ({ include: `#${name}` }));
const word = (scope, ...words) => ({ name: `${scope}.ripieno`, match: oneOf(...words) });
const captures = (...scopes) =>
    Object.fromEntries(scopes.map((scope, index) => [index + 1, typeof scope === "string" ? { name: `${scope}.ripieno` } : scope]));
const players = { patterns: include("player", "comma") };

/** A rest, of so many bars where a number follows. */
const rest = {
    match: `${wordStart}(rest)${wordEnd}(?:[ \\t]+([0-9]+)(?![\\p{L}0-9':/-]))?`,
    captures: captures("keyword.other.rest", "constant.numeric.bars"),
};

const keyword = {
    declaration: "storage.type.declaration",
    verb: "keyword.control.verb",
    other: "keyword.other",
};

/**
 * A declaration: `keyword name {` … `}`. What stands between keyword and brace but is none of
 * `head` is marked, and the block is read all the same.
 */
function block(kind, { names = [], end = "(\\})", patterns }) {
    // `ensemble a extends b`: the word before a further name is a keyword.
    const head = names.map(({ before, is = name }) =>
        before ? `(?:[ \\t]+(${before})${wordEnd}(?:[ \\t]+(${is}))?)?` : `(?:[ \\t]+(${is}))?`);
    const scopes = names.flatMap(({ before, scope }) => (before ? [keyword.other, scope] : [scope]));
    return {
        name: `meta.${kind}.ripieno`,
        begin: `^${blanks}(${kind})${wordEnd}${head.join("")}${blanks}(\\{)?`,
        beginCaptures: captures(keyword.declaration, ...scopes, "punctuation.section.block.begin"),
        end: `${end}|${nextDeclaration}`,
        endCaptures: captures("punctuation.section.block.end"),
        patterns: [
            { name: "punctuation.section.block.begin.ripieno", match: `^${blanks}\\{(?=${blanks}(?:$|//|[0-9]+:))` },
            ...include("comment"),
            {
                match: `\\G(?<!\\{)${blanks}([^\\s{}"/][^\\n{}"]*?)${blanks}(?:(\\{)|(?=//|$|"))`,
                captures: captures("invalid.illegal.head", "punctuation.section.block.begin"),
            },
            ...patterns,
        ],
    };
}

/** A line of a scoring: who, a verb, what else; or what is like one. */
const line = (begin, beginCaptures, patterns) => ({
    begin: `${lineStart}${begin}`,
    beginCaptures,
    // A block of notes that broke off hands the next line on.
    end: "$|(?=\\})|^",
    patterns: [...include("comment"), ...patterns],
});

const named = (scope, match) => ({ name: `${scope}.ripieno`, match });
const unknown = named("invalid.illegal", `[^\\s{},"]+`);

const repository = {
    comment: {
        name: "comment.line.double-slash.ripieno",
        match: "(//).*$",
        captures: captures("punctuation.definition.comment"),
    },
    string: {
        patterns: [
            named("string.quoted.double", `"[^"\\n]*"`),
            named("invalid.illegal.unclosed-string", `"[^"\\n]*$`),
        ],
    },
    comma: named("punctuation.separator.comma", ","),
    player: named("variable.other.player", `${wordStart}${part}`),
    number: named("constant.numeric.integer", `${wordStart}[0-9]+${wordEnd}`),
    range: named("keyword.operator.range", "\\.\\."),
    value: named("constant.numeric.value", `${wordStart}${value}`),
    pitch: {
        name: "constant.other.pitch.ripieno",
        match: `${wordStart}([A-G])(${accidental})?([0-9])?(?![\\p{L}0-9'-])`,
        captures: captures("constant.other.pitch.letter", "keyword.operator.accidental", "constant.numeric.octave"),
    },
    tuning: {
        match: `${wordStart}([A-G]${accidental}?)(?:[ \\t]+(alto|basso))?${wordEnd}`,
        captures: captures("constant.other.pitch", keyword.other),
    },
    octaves: word("keyword.operator.octaves", octaves),
    technique: word("support.constant.technique", ...techniques),
    directionWord: {
        patterns: [
            word("support.constant.dynamic", ...dynamics),
            word("support.constant.hairpin", "cresc", "dim", "to"),
            ...include("technique"),
        ],
    },

    // Music

    music: {
        patterns: include(
            "comment", "barNumber", "barLine", "tuplet", "grace", "marks", "direction", "simple", "unreadable",
        ),
    },
    simple: {
        patterns: [
            ...include("value"),
            rest,
            word("keyword.other.stroke", "x"),
            ...include("pitch"),
            named("keyword.operator.chord", `&(?=[A-G])`),
            named("keyword.operator.hold", "="),
            named("punctuation.definition.slur.begin", "\\{"),
            named("punctuation.definition.slur.end", "\\}"),
        ],
    },
    barNumber: {
        match: `${wordStart}([0-9]+)(:)(?![0-9]+\\()`,
        captures: captures("entity.name.tag.bar", "punctuation.separator.bar-number"),
    },
    barLine: named("punctuation.separator.bar", "\\|"),
    tuplet: {
        name: "meta.tuplet.ripieno",
        begin: `${wordStart}([0-9]+)(:)([0-9]+)${blanks}(\\()`,
        beginCaptures: captures(
            "constant.numeric.tuplet", "keyword.operator.ratio", "constant.numeric.tuplet",
            "punctuation.section.tuplet.begin",
        ),
        end: `(\\))|(?=\\|)|(?=^${blanks}(?:\\}|[0-9]+:(?![0-9]+\\()))|${nextDeclaration}`,
        endCaptures: captures("punctuation.section.tuplet.end"),
        patterns: include("comment", "grace", "marks", "direction", "simple", "unreadable"),
    },
    grace: {
        name: "meta.grace.ripieno",
        begin: `${wordStart}(grace|crushed)${wordEnd}${blanks}(\\()`,
        beginCaptures: captures("keyword.other.grace", "punctuation.section.grace.begin"),
        end: "(\\))|(?=\\|)|$",
        endCaptures: captures("punctuation.section.grace.end"),
        patterns: include("comment", "marks", "simple", "unreadable"),
    },
    marks: {
        name: "meta.marks.ripieno",
        begin: "(?<=[A-Gbtx0-9=#♯♭♮𝄪𝄫])\\[",
        beginCaptures: { 0: { name: "punctuation.definition.marks.begin.ripieno" } },
        end: "(\\])|(?=\\|)|$",
        endCaptures: captures("punctuation.definition.marks.end"),
        patterns: [
            {
                match: `${wordStart}(trill|mordent|turn)[ \\t]+([A-G]${accidental}?)(?=[\\s\\],|]|$)`,
                captures: captures("support.function.mark", "constant.other.pitch"),
            },
            {
                match: `${wordStart}(harmonic)[ \\t]+([A-G]${accidental}?[0-9])(?=[\\s\\],|]|$)`,
                captures: captures("support.function.mark", "constant.other.pitch"),
            },
            {
                match: `${wordStart}(tremolo)[ \\t]+([A-G]${accidental}?[0-9]?(?:&[A-G]${accidental}?[0-9]?)*)(?=[\\s\\],|]|$)`,
                captures: captures("support.function.mark", "constant.other.pitch"),
            },
            word("support.function.mark", ...marks),
            ...include("value", "comma"),
            named("invalid.illegal.mark", "[^\\s\\],|]+"),
        ],
    },
    direction: {
        name: "meta.direction.ripieno",
        begin: "\\[",
        beginCaptures: { 0: { name: "punctuation.definition.direction.begin.ripieno" } },
        end: "(\\])|(?=\\|)|$",
        endCaptures: captures("punctuation.definition.direction.end"),
        patterns: [
            ...include("directionWord", "string", "comma"),
            named("invalid.illegal.direction", `[^\\s\\],|"]+`),
        ],
    },
    unreadable: named("invalid.illegal", "[^\\s|{}()\\[\\]]+|[()\\]]"),

    // Declarations

    use: {
        begin: `^${blanks}(use)${wordEnd}`,
        beginCaptures: captures("keyword.control.use"),
        end: "$",
        patterns: [...include("comment", "string"), unknown],
    },
    piece: block("piece", {
        patterns: [
            ...include("string"),
            named("punctuation.section.block.begin", "\\{"),
            word("support.type.property-name", ...pieceLines),
            unknown,
        ],
    }),
    form: block("form", {
        patterns: [
            ...include("range", "comma"),
            {
                match: `${wordStart}(key)${wordEnd}(?:[ \\t]+([A-G]${accidental}?)${wordEnd})?(?:[ \\t]+(major|minor)${wordEnd})?`,
                captures: captures(keyword.other, "constant.other.pitch", "constant.language.mode"),
            },
            word(
                keyword.other, "metre", "tempo", "at", "mark", "pick-up", "up-beat", "length", "repeat", "ending",
                "times", "double-bar", "segno", "coda", "to", "fine", "da", "dal", "capo", "al", "common",
                "cut", "end",
            ),
            named("constant.numeric.decimal", `${wordStart}[0-9]+\\.[0-9]+${wordEnd}`),
            named("constant.numeric.value", `${wordStart}[0-9]+(?:\\+[0-9]+)+/[0-9]+${wordEnd}`),
            ...include("value", "number", "string"),
            unknown,
        ],
    }),
    harmony: block("harmony", {
        patterns: [
            ...include("barNumber", "barLine", "value"),
            rest,
            {
                match: `${wordStart}(key)\\s+([A-G]${accidental}?)\\s+(major|minor)${wordEnd}`,
                captures: captures(keyword.other, "constant.other.pitch", "constant.language.mode"),
            },
            {
                match: `${wordStart}([A-G]${accidental}?)(${qualities.join("|")})?(?:(/)([A-G]${accidental}?))?(?=[\\s|{}]|$)`,
                captures: captures("constant.other.chord.root", "constant.other.chord.quality", "keyword.operator.bass", "constant.other.chord.bass"),
            },
            named("invalid.illegal.chord", "[^\\s|{}]+"),
        ],
    }),
    dynamics: block("dynamics", {
        patterns: [word(keyword.other, "beat"), ...include("range", "directionWord", "number", "string"), unknown],
    }),
    voice: block("voice", {
        names: [{ scope: "entity.name.function.voice" }],
        end: closesBars,
        patterns: include("music"),
    }),
    lyrics: block("lyrics", {
        names: [
            { before: "for", scope: "entity.name.function.voice" },
            { before: "verse", scope: "constant.numeric.integer", is: "[0-9]+" },
        ],
        patterns: [
            ...include("barNumber", "barLine"),
            named("keyword.operator.hold", "="),
            named("string.unquoted.syllable", "[^\\s|{}=]+"),
        ],
    }),
    instrument: block("instrument", {
        names: [{ scope: "entity.name.type.instrument" }, { before: "like", scope: "entity.other.inherited-class.instrument" }],
        patterns: [
            word(keyword.other, "as", "short", "compass", "custom", "solo", "to", "strings", "written", "sounds", "clef", "from"),
            word("support.constant.clef", "treble", "alto", "tenor", "bass"),
            ...include("pitch", "number", "string", "comma"),
            unknown,
        ],
    }),
    ensemble: block("ensemble", {
        names: [{ scope: "entity.name.type.ensemble" }, { before: "extends", scope: "entity.other.inherited-class.ensemble" }],
        patterns: [
            {
                match: `${wordStart}(group)${wordEnd}(?:[ \\t]+(${name}))?`,
                captures: captures(keyword.other, "entity.name.type.group"),
            },
            {
                match: `${wordStart}(joins)${wordEnd}(?:[ \\t]+(${name}))?`,
                captures: captures(keyword.other, "entity.name.type.group"),
            },
            {
                match: `${wordStart}(limits)${wordEnd}(?:[ \\t]+([\\p{Ll}][\\p{Ll}/-]*))?`,
                captures: captures(keyword.other, "support.constant.rule"),
            },
            named("constant.numeric.decimal", `${wordStart}[0-9]+\\.[0-9]+${wordEnd}`),
            word("keyword.other.unit", "seconds", "second", "bars", "players", "lines"),
            word(
                keyword.other, "era", "without", "budget", "players", "player", "divisi", "crook", "in", "signature", "tuned",
                "as",
            ),
            ...include("tuning", "pitch", "octaves", "number", "string", "comma"),
            named("keyword.operator.group", "="),
            named("keyword.operator.percent", "%"),
            ...include("player"),
            unknown,
        ],
    }),
    scoring: block("scoring", {
        names: [{ scope: "entity.name.type.scoring" }, { before: "for", scope: "entity.name.type.ensemble" }],
        patterns: include("keep", "allow", "withVoice", "withPart", "takes", "withVerb", "noVerb", "lost"),
    }),

    layout: block("layout", {
        names: [{ before: "for", scope: "entity.name.type.scoring" }],
        patterns: [
            {
                match: `${lineStart}(?:(score|parts)${wordEnd}|(${who}))`,
                captures: captures(keyword.other, players),
            },
            {
                match: `${wordStart}(paper)${wordEnd}(?:[ \\t]+([\\p{L}0-9]+))?(?:[ \\t]+(landscape)${wordEnd})?`,
                captures: captures(keyword.verb, "support.constant.paper", keyword.other),
            },
            {
                match: `${wordStart}(nudge)${wordEnd}(?:[ \\t]+(${anyWord}))?(?:[ \\t]+(of)${wordEnd}(?:[ \\t]+(${part}))?)?`,
                captures: captures(keyword.verb, "support.constant.sign", keyword.other, players),
            },
            {
                match: `${wordStart}(hide)${wordEnd}(?:[ \\t]+(empty)${wordEnd})?(?:[ \\t]+(${who}))?`,
                captures: captures(keyword.verb, keyword.other, players),
            },
            word(keyword.verb, "staff", "break", "turn"),
            word(keyword.other, "before", "bar", "beat", "up", "down", "left", "right"),
            word("keyword.other.unit", "mm"),
            named("constant.numeric.decimal", `${wordStart}[0-9]+\\.[0-9]+${wordEnd}`),
            ...include("number", "comma"),
            unknown,
        ],
    }),

    // Lines of a scoring

    keep: line(
        `(keep)${wordEnd}(?:[ \\t]+(lines)[ \\t]+(of)${wordEnd})?(?:[ \\t]+(${name}))?`,
        captures(keyword.other, keyword.other, keyword.other, "entity.name.type.scoring"),
        [unknown],
    ),
    allow: line(
        `(allow)${wordEnd}(?:[ \\t]+([\\p{Ll}][\\p{Ll}/-]*))?`,
        captures(keyword.other, "support.constant.rule"),
        [
            { match: `${wordStart}(on)[ \\t]+(${who})`, captures: captures(keyword.other, players) },
            ...include("bars", "string"),
            unknown,
        ],
    ),
    withVoice: line(
        `(${who})[ \\t]+(plays?|signals?|realises?)${wordEnd}(?:[ \\t]+(${name}))?`,
        captures(players, keyword.verb, "variable.other.voice"),
        include("modifier", "notAModifier"),
    ),
    withPart: line(
        `(${who})[ \\t]+(doubles?)${wordEnd}(?:[ \\t]+(${part}))?`,
        captures(players, keyword.verb, "variable.other.player"),
        include("modifier", "notAModifier"),
    ),
    takes: line(
        `(${who})[ \\t]+(takes?)${wordEnd}`,
        captures(players, keyword.verb),
        [
            word(keyword.other, "crook", "in", "tuned", "bar"),
            ...include("tuning", "pitch", "modifier", "player", "notAModifier"),
        ],
    ),
    withVerb: line(
        `(${who})[ \\t]+(${verbs})${wordEnd}`,
        captures(players, keyword.verb),
        [
            word(keyword.other, "each", "chord", "beat", "off", "the", "broken", "tremolo"),
            word("support.constant.moment", "entries", "cadences", "phrases", "peaks"),
            ...include("written", "modifier", "notAModifier"),
        ],
    ),
    noVerb: line(
        `(${who})(?:[ \\t]+(${anyWord}))?`,
        captures(players, "invalid.illegal.verb"),
        include("written", "modifier", "notAModifier"),
    ),
    lost: named("invalid.illegal", "[^\\s{}]+"),
    written: {
        name: "meta.written.ripieno",
        begin: "\\{",
        beginCaptures: { 0: { name: "punctuation.section.block.begin.ripieno" } },
        end: `${closesBars}|(?=^${blanks}(?:${who}[ \\t]+${verbs}${wordEnd}|allow[ \\t]+\\p{Ll}))|${nextDeclaration}`,
        endCaptures: captures("punctuation.section.block.end"),
        patterns: include("music"),
    },
    bars: {
        patterns: [
            word(keyword.other, "bars", "beat", "with", "up-beat"),
            ...include("value", "number", "range", "comma"),
        ],
    },
    modifier: {
        patterns: [
            ...include("bars", "octaves", "technique", "string"),
            {
                match: `${wordStart}(as)${wordEnd}(?:[ \\t]+(?:(${roles.join("|")})${wordEnd}|(${anyWord})))?`,
                captures: captures(keyword.other, "constant.language.role", "invalid.illegal.role"),
            },
            {
                match: `${wordStart}(at)${wordEnd}(?:[ \\t]+(?:(${dynamics.join("|")})${wordEnd}|(${anyWord})))?`,
                captures: captures(keyword.other, "support.constant.dynamic", "invalid.illegal.dynamic"),
            },
            word(keyword.other, "solo", "with", "lyrics", "chords", "figures"),
        ],
    },
    notAModifier: unknown,

    lostDeclaration: named("invalid.illegal", `[^\\s].*?(?=${blanks}(?://|$))`),
};

const grammar = {
    name: "Ripieno",
    scopeName: "source.ripieno",
    fileTypes: ["ripieno"],
    patterns: include(
        "comment", "use", "piece", "form", "harmony", "dynamics", "voice", "lyrics", "instrument", "ensemble", "scoring", "layout", "lostDeclaration",
    ),
    repository,
};

const place = new URL("../syntaxes/ripieno.tmLanguage.json", import.meta.url);
const text = `${JSON.stringify(grammar, null, 2)}\n`;
if (process.argv.includes("--check")) {
    if (readFileSync(place, "utf8") !== text) {
        console.error("syntaxes/ripieno.tmLanguage.json is not what scripts/grammar.mjs writes: run `npm run grammar`.");
        process.exit(1);
    }
} else {
    writeFileSync(place, text);
}
