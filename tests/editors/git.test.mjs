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

test("git diff says bar and voice of a source, and nothing of line breaks and blanks", has, () => {
    const { folder, git, commit } = began();
    for (const file of ["lanterns-on-the-weir.ripieno", "forces.ripieno"]) {
        cpSync(join(repository, "samples", file), join(folder, file));
    }
    commit("begin");
    const file = join(folder, "lanterns-on-the-weir.ripieno");
    const changed = readFileSync(file, "utf8")
        .replace("12: 1/4. A5 1/8 G5 {1/8 E5 D5} |", "12: 1/4. A5 1/8 G5 {1/8 F5 D5} |")
        .replace("  13: 1/4 Bb4 {1/16 D5 C D E}", "\n    13: 1/4 Bb4\n      {1/16 D5   C D E}")
        .replace("    31: 1/4 D4 1/2 E4 |\n    32: 1/2. D4 |", "    31: 1/4 D4 1/2 F4 | 32: 1/2. D4 |")
        .replace("  oboe.2   plays middle bars 13..16, 27..30            as harmony", "  oboe.2  plays middle bars 13..16, 27..29 as harmony");
    writeFileSync(file, changed);
    const diff = git("diff").stdout;
    assert.deepEqual(changes(diff), [
        "-bar 12, upper: 1/4. A5 1/8 G5 {1/8 E5 D5} |",
        "+bar 12, upper: 1/4. A5 1/8 G5 {1/8 F5 D5} |",
        "-bar 31, viola (village): 1/4 D4 1/2 E4 |",
        "+bar 31, viola (village): 1/4 D4 1/2 F4 |",
        "-spa, oboe.2: plays middle bars 13..16, 27..30 as harmony",
        "+spa, oboe.2: plays middle bars 13..16, 27..29 as harmony",
    ]);
    assert.match(diff, /^@@ .* @@ voice upper \{$/m);
    assert.match(diff, /^@@ .* @@ scoring spa for spa-orchestra \{$/m);
    // As they are, the lines belong to the same declarations.
    assert.match(git("diff", "--no-textconv").stdout, /^@@ .* @@ voice upper \{$/m);
});

test("git diff says bar and player of scores and parts, and nothing of line breaks", hasAll, () => {
    const { folder, git, commit } = began();
    const sources = mkdtempSync(join(tmpdir(), "ripieno-sources-"));
    for (const file of ["lanterns-on-the-weir.ripieno", "forces.ripieno"]) {
        cpSync(join(repository, "samples", file), join(sources, file));
    }
    const build = () => {
        const built = run(ripieno, ["build", "lanterns-on-the-weir.ripieno", "--only", "text", "--scoring", "village", "-o", join(folder, "build")], { cwd: sources });
        assert.equal(built.status, 0, built.stderr);
    };
    build();
    commit("begin");
    const file = join(sources, "lanterns-on-the-weir.ripieno");
    // The voice `upper` in bar 12, which only the first violins play; sixteenths make the bar wider.
    writeFileSync(file, readFileSync(file, "utf8").replace("12: 1/4. A5 1/8 G5 {1/8 E5 D5} |", "12: 1/4. A5 1/8 G5 1/16 E5 F# G# A |"));
    build();
    const found = changes(git("diff").stdout);
    assert.ok(found.length >= 6, found.join("\n"));
    assert.deepEqual(found.filter((line) => !/^[-+]bar 12, Violins I[:,]/.test(line)), []);
    const notes = found.filter((line) => line.includes("Violins I: "));
    // Once in the score, once in the part.
    assert.deepEqual(notes, [
        "-bar 12, Violins I: 1: A5 +: G 3: E +: D",
        "+bar 12, Violins I: 1: A5 +: G 3: E F♯ +: G♯ A",
        "-bar 12, Violins I: 1: A5 +: G 3: E +: D",
        "+bar 12, Violins I: 1: A5 +: G 3: E F♯ +: G♯ A",
    ]);
    // More lines of text change than bars do.
    assert.ok(changes(git("diff", "--no-textconv").stdout).length > 0);
});

test("each bar of each part is there, whatever its page", hasAll, () => {
    for (const { text, last, scoring } of [
        { text: "samples/lanterns-on-the-weir.ripieno", last: 32, scoring: "jubilee" },
        { text: "samples/mill-race.ripieno", scoring: "town" },
    ]) {
        const folder = mkdtempSync(join(tmpdir(), "ripieno-pages-"));
        const built = run(ripieno, ["build", text, "--only", "text", "--scoring", scoring, "-o", folder], { cwd: repository });
        assert.equal(built.status, 0, built.stderr);
        const listing = readdirSync(folder, { recursive: true }).filter((path) => /\bparts\b.*\.txt$/.test(path));
        assert.ok(listing.length >= 15);
        const end = last ?? Number(/^\s*(\d+)\s+end$/m.exec(read(text))[1]);
        for (const path of listing) {
            const numbers = new Set([...bars(readFileSync(join(folder, path), "utf8")).matchAll(/^bar (\d+), [^:,]+: /gm)].map(([, number]) => Number(number)));
            const missing = Array.from({ length: end }, (_, bar) => bar + 1).filter((bar) => !numbers.has(bar));
            assert.deepEqual(missing, [], path);
        }
    }
});

test("every sign under the notes is told from what is said over the next staff", has, () => {
    const signs = listed("src/render/text/words.rs", /\(Mark::\w+, "([^"]+)", "[^"]+"\)/g);
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
    mkdirSync(join(folder, "night pieces"));
    cpSync(join(repository, "samples/forces.ripieno"), join(folder, "forces.ripieno"));
    writeFileSync(join(folder, "night pieces/lanterns.ripieno"), read("samples/lanterns-on-the-weir.ripieno").replace('use "forces.ripieno"', 'use "../forces.ripieno"'));
    cpSync(join(ours, "pre-commit"), join(folder, ".git/hooks/pre-commit"));
    const first = commit("good");
    assert.equal(first.status, 0, first.stderr);

    // A used file breaks the piece that uses it.
    const forces = join(folder, "forces.ripieno");
    const before = readFileSync(forces, "utf8");
    writeFileSync(forces, before.replace("  oboe 2\n", "  oboe 1\n"));
    const second = commit("broken");
    assert.notEqual(second.status, 0);
    assert.match(second.stderr, /night pieces\/lanterns\.ripieno:\d+:\d+: error\[/);

    // What lies in the folder does not count, only what is committed.
    writeFileSync(forces, `${before}// a remark\n`);
    git("add", "-A");
    writeFileSync(forces, "nonsense\n");
    assert.equal(git("commit", "-q", "-m", "good again").status, 0);
});
