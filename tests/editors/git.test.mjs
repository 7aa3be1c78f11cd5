// The diff driver and the hook, in a repository of their own.

import assert from "node:assert/strict";
import { cpSync, mkdtempSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { delimiter, join } from "node:path";
import { test } from "node:test";

import { good, listed, read, repository } from "./places.mjs";
import { needs, needsCompiler, ripieno, run } from "./tools.mjs";

const ours = join(repository, "editors/git");
const has = needs("git", "apt install git perl");
const hasAll = { ...has, ...(has.skip ? {} : needsCompiler) };

/** A repository with our settings, and a way to ask its git. */
function began() {
    const folder = mkdtempSync(join(tmpdir(), "ripieno-git-"));
    const environment = {
        ...process.env,
        PATH: `${ours}${delimiter}${process.env.PATH}`,
        GIT_CONFIG_GLOBAL: join(ours, "gitconfig"),
        GIT_CONFIG_NOSYSTEM: "1",
        RIPIENO: ripieno,
    };
    const git = (...args) => run("git", ["-c", "user.name=Copyist", "-c", "user.email=copyist@example.org", ...args], { cwd: folder, env: environment });
    git("init", "-q");
    cpSync(join(ours, "gitattributes"), join(folder, ".gitattributes"));
    const commit = (message) => {
        git("add", "-A");
        return git("commit", "-q", "-m", message);
    };
    return { folder, git, commit };
}

/** The lines that a diff takes away or adds. */
const changes = (diff) => diff.split("\n").filter((line) => /^[-+](?![-+])/.test(line));

const bars = (text, name = "page.txt") => {
    const file = join(mkdtempSync(join(tmpdir(), "ripieno-bars-")), name);
    writeFileSync(file, text);
    const ended = run("perl", [join(ours, "ripieno-bars"), file]);
    assert.equal(ended.status, 0, ended.stderr);
    assert.equal(ended.stderr, "");
    return ended.stdout;
};

const sources = ["ferry.ripieno", "ferry-forces.ripieno"];
const copySources = (folder) => sources.forEach((file) => cpSync(join(repository, "tests/editors", file), join(folder, file)));

/** Replaces each of some places, which must be there, of a file. */
function edit(file, ...replacements) {
    writeFileSync(file, replacements.reduce((text, [from, to]) => {
        assert.ok(text.includes(from), `${file} has no ${from}`);
        return text.replace(from, to);
    }, readFileSync(file, "utf8")));
}

test("git diff says bar and voice of a source, and nothing of line breaks and blanks", has, () => {
    const { folder, git, commit } = began();
    copySources(folder);
    commit("begin");
    edit(
        join(folder, "ferry.ripieno"),
        ["12: 1/4. B4 1/8 A4 {1/8 G4 A4} |", "12: 1/4. B4 1/8 A4 {1/8 G4 B4} |"],
        ["  13: 1/4 B4 {1/8 D5 C} 1/4", "\n    13: 1/4 B4\n      {1/8 D5   C} 1/4"],
        ["    15: 1/4 F#4 1/2 F#4 |\n    16: 1/2. D4 |", "    15: 1/4 F#4 1/2 A4 | 16: 1/2. D4 |"],
        ["  oboe.1    doubles violin-1 bars 9..12     as melody", "  oboe.1  doubles violin-1 bars 9..11 as melody"],
    );
    const diff = git("diff").stdout;
    assert.deepEqual(changes(diff), [
        "-bar 12, upper: 1/4. B4 1/8 A4 {1/8 G4 A4} |",
        "+bar 12, upper: 1/4. B4 1/8 A4 {1/8 G4 B4} |",
        "-bar 15, viola (small): 1/4 F#4 1/2 F#4 |",
        "+bar 15, viola (small): 1/4 F#4 1/2 A4 |",
        "-large, oboe.1: doubles violin-1 bars 9..12 as melody",
        "+large, oboe.1: doubles violin-1 bars 9..11 as melody",
    ]);
    assert.match(diff, /^@@ .* @@ voice upper \{$/m);
    assert.match(diff, /^@@ .* @@ scoring small for ferry-band \{$/m);
    // As they are, the lines belong to the same declarations.
    assert.match(git("diff", "--no-textconv").stdout, /^@@ .* @@ voice upper \{$/m);
});

test("git diff says bar and player of scores and parts, and nothing of line breaks", hasAll, () => {
    const { folder, git, commit } = began();
    const from = mkdtempSync(join(tmpdir(), "ripieno-sources-"));
    copySources(from);
    const build = () => {
        const built = run(ripieno, ["build", "ferry.ripieno", "--only", "text", "--scoring", "small", "-o", join(folder, "build")], { cwd: from });
        assert.equal(built.status, 0, built.stderr);
    };
    build();
    commit("begin");
    // Only the first violins play it; sixteenths make the bar wider, and all lines after it break anew.
    edit(join(from, "ferry.ripieno"), ["6: 1/4. C5 1/8 D5 {1/8 E5 F#} |", "6: 1/4. C5 1/8 D5 1/16 E5 F# E D |"]);
    build();
    const found = changes(git("diff", "--", "*.txt").stdout);
    assert.deepEqual(found.filter((line) => !/^[-+]bar 6, Violins I?[:,]/.test(line)), []);
    // Once in the score, once in the part.
    assert.deepEqual(found.filter((line) => /Violins I?: /.test(line)).map((line) => line.replace(/Violins I?/, "Violins")), [
        "-bar 6, Violins: 1: C5 +: D 3: E +: F♯",
        "+bar 6, Violins: 1: C5 +: D 3: E F♯ +: E D",
        "-bar 6, Violins: 1: C5 +: D 3: E +: F♯",
        "+bar 6, Violins: 1: C5 +: D 3: E F♯ +: E D",
    ]);
    // The pages themselves differ in more than this.
    assert.ok(changes(git("diff", "--no-textconv", "--", "*.txt").stdout).length > found.length);
});

test("each bar of each part is there, whatever its page", hasAll, () => {
    const pieces = readdirSync(join(repository, "samples"))
        .map((file) => ({ text: `samples/${file}`, last: Number(/^\s*(\d+)\s+end\b/m.exec(read(`samples/${file}`))?.[1]) }))
        .filter(({ last }) => last > 0);
    assert.ok(pieces.length > 1);
    let most = 0;
    for (const { text, last } of pieces) {
        // The last scoring is the largest.
        const scoring = [...read(text).matchAll(/^scoring (\S+)/gm)].at(-1)[1];
        const folder = mkdtempSync(join(tmpdir(), "ripieno-pages-"));
        const built = run(ripieno, ["build", text, "--only", "text", "--scoring", scoring, "-o", folder], { cwd: repository });
        assert.equal(built.status, 0, built.stderr);
        const listing = readdirSync(folder, { recursive: true }).filter((path) => /\bparts\b.*\.txt$/.test(path)).sort();
        assert.ok(listing.length > 0);
        most = Math.max(most, listing.length);
        for (const path of listing.filter((_, index) => index % 3 === 0)) {
            const page = readFileSync(join(folder, path), "utf8");
            // Who has nothing to play reads that, and no bars.
            if (/^Tacet$/m.test(page)) {
                continue;
            }
            const numbers = new Set([...bars(page).matchAll(/^bar (\d+), [^:,]+: /gm)].map(([, number]) => Number(number)));
            const missing = Array.from({ length: last }, (_, bar) => bar + 1).filter((bar) => !numbers.has(bar));
            assert.deepEqual(missing, [], path);
        }
    }
    assert.ok(most >= 15);
});

test("every sign under the notes is told from what is said over the next staff", has, () => {
    const signs = listed("render/text/words.rs", /\(Mark::\w+, "([^"]+)", "[^"]+"\)/g);
    assert.equal(signs.length, 16);
    const rule = "─".repeat(80);
    for (const sign of signs) {
        const page = `A piece                      Score\n${rule}\nsmall (duo) · metre 3/4\n\nOb.     Oboe\nVln.    Violin\n\n      1   1     2     3\nOb.     │ D5─── E──── F──── ┃\n          ${sign}\n          pizz.\nVln.    │ D5─── E──── F──── ┃\n\n`.replace(/^(Ob\.|Vln\.) +│/gm, (row) => row.replace(/ +│/, (blanks) => `${" ".repeat(8 - row.indexOf(" "))}│`));
        const lines = bars(page).split("\n");
        assert.ok(lines.includes(`bar 1, Oboe, signs: 1: ${sign}`), `${sign}\n${lines.join("\n")}`);
        assert.ok(lines.includes("bar 1, Violin: pizz."), `${sign}\n${lines.join("\n")}`);
    }
});

test("no note of a source is lost on the way", has, () => {
    for (const { name, text } of good) {
        const plain = (source) => source.replace(/\/\/.*$/gm, "").match(/\b[A-G](?:##|#|bb|b)?[0-9]\b/g) ?? [];
        assert.deepEqual(plain(bars(text, "a.ripieno")), plain(text), name);
    }
});

test("the hook lets good sources pass, holds back errors, and looks at what is committed", hasAll, () => {
    const { folder, git, commit } = began();
    const file = join(folder, "night pieces/ferry.ripieno");
    mkdirSync(join(folder, "night pieces"));
    const forces = join(folder, "ferry-forces.ripieno");
    cpSync(join(repository, "tests/editors/ferry-forces.ripieno"), forces);
    cpSync(join(repository, "tests/editors/ferry.ripieno"), file);
    edit(file, ['use "ferry-forces', 'use "../ferry-forces']);
    cpSync(join(ours, "pre-commit"), join(folder, ".git/hooks/pre-commit"));
    const first = commit("good");
    assert.equal(first.status, 0, first.stderr);

    // A used file breaks the piece that uses it.
    const before = readFileSync(forces, "utf8");
    writeFileSync(forces, before.replace("  oboe 2\n", "  oboe 1\n"));
    const second = commit("broken");
    assert.notEqual(second.status, 0);
    assert.match(second.stderr, /night pieces\/ferry\.ripieno:\d+:\d+: error\[/);

    // What lies in the folder does not count, only what is committed.
    writeFileSync(forces, `${before}// a remark\n`);
    git("add", "-A");
    writeFileSync(forces, "nonsense\n");
    assert.equal(git("commit", "-q", "-m", "good again").status, 0);
});
