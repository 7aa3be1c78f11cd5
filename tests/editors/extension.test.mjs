// The extension, which `run` has checked and packed: its package, its problem matchers and its snippets.

import assert from "node:assert/strict";
import { mkdtempSync, readFileSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { test } from "node:test";

import { modules, read, repository } from "./places.mjs";
import { invalid, tokens } from "./textmate.mjs";
import { needsCompiler, ripieno, run } from "./tools.mjs";

const about = JSON.parse(read("editors/vscode/package.json"));

test("the extension is packed with all that its manifest names", () => {
    const { unzipSync, strFromU8 } = createRequire(join(modules, "/"))("fflate");
    const files = unzipSync(new Uint8Array(readFileSync(join(modules, `ripieno-${about.version}.vsix`))));
    const { contributes, main } = about;
    const named = [
        main,
        ...contributes.languages.map(({ configuration }) => configuration),
        ...contributes.grammars.map(({ path }) => path),
        ...contributes.snippets.map(({ path }) => path),
    ];
    for (const path of named) {
        assert.ok(files[`extension/${path.replace("./", "")}`], `${path} is not in the package`);
    }
    const shipped = JSON.parse(strFromU8(files["extension/package.json"]));
    assert.equal(shipped.publisher, "ripieno");
    assert.equal(shipped.devDependencies, undefined);
    assert.match(strFromU8(files["extension.vsixmanifest"]), /Id="ripieno" Version="[\d.]+" Publisher="ripieno"/);
    assert.match(strFromU8(files["extension/NOTICES.txt"]), /^vscode-languageclient /m);
    assert.match(strFromU8(files["extension/dist/extension.js"]), /require\("vscode"\)/);
});

test("the same sources give the same package", () => {
    const file = join(modules, `ripieno-${about.version}.vsix`);
    const folder = mkdtempSync(join(tmpdir(), "ripieno-"));
    const again = run(process.execPath, ["scripts/package.mjs", folder], { cwd: modules });
    assert.equal(again.status, 0, again.stderr);
    assert.ok(readFileSync(file).equals(readFileSync(join(folder, `ripieno-${about.version}.vsix`))));
});

test("each command of the manifest is registered, and none but these", () => {
    const source = read("editors/vscode/src/extension.ts");
    const registered = [...source.matchAll(/registerCommand\("([^"]+)"/g)].map(([, command]) => command);
    assert.deepEqual(registered.sort(), about.contributes.commands.map(({ command }) => command).sort());
    // The client registers what the server offers under the server's own names.
    assert.ok(!registered.includes("ripieno.showBar"));
});

test("the lock file names no registry", () => {
    assert.doesNotMatch(read("editors/vscode/package-lock.json"), /"resolved"/);
});

const patterns = about.contributes.problemPatterns.map((pattern) => ({ ...pattern, regexp: new RegExp(pattern.regexp) }));

test("each finding is matched by one problem pattern, at its place", needsCompiler, () => {
    const source = "tests/fixtures/twenty-mistakes.ripieno";
    const checked = run(ripieno, ["check", "--format", "short", source], { cwd: repository });
    const data = run(ripieno, ["check", "--format", "json", source], { cwd: repository });
    const { findings } = JSON.parse(data.stdout);
    const lines = checked.stderr.trimEnd().split("\n").filter((line) => /\w\[[a-z/-]+\]: /.test(line));
    assert.equal(lines.length, findings.length);
    lines.forEach((line, index) => {
        const matched = patterns.filter(({ regexp }) => regexp.test(line));
        assert.equal(matched.length, 1, line);
        const [{ regexp, file, line: atLine, column, code }] = matched;
        const parts = regexp.exec(line);
        const { start, code: expected } = findings[index];
        assert.deepEqual(
            [parts[file], Number(parts[atLine]), Number(parts[column]), parts[code]],
            [source, start.line, start.column, expected],
        );
    });
});

test("advice goes to the pattern of advice", () => {
    const line = "a b.ripieno:3:14: advice[harmony/inferred]: The harmony is inferred.";
    assert.deepEqual(patterns.filter(({ regexp }) => regexp.test(line)).map(({ name }) => name), ["ripieno-advice"]);
    const windows = "C:\\scores\\dance.ripieno:3:14: error[bars/too-long]: Bar 2 is too long.";
    assert.equal(patterns[0].regexp.exec(windows)[1], "C:\\scores\\dance.ripieno");
});

/** A snippet as it stands when all its proposals are taken. */
function expanded({ body }) {
    const known = new Map();
    return body.join("\n").replace(/\$\{(\d+)(?::([^}]*)|\|([^|]*)\|)?\}/g, (_, number, proposal, choices) => {
        const text = proposal ?? choices?.split(",")[0] ?? known.get(number) ?? "";
        known.set(number, text);
        return text;
    }).replace(/\\([$}\\])/g, "$1");
}

const snippets = JSON.parse(read("editors/vscode/snippets/ripieno.json"));
const inLine = (text) => `scoring small for band {\n${text}\n}\n`;
const around = { group: (text) => `ensemble a {\n${text}\n}\n`, triplet: inBar, grace: inBar, slur: inBar };
function inBar(text) {
    return `voice upper {\n  1: 1/4 ${text} |\n}\n`;
}

for (const [name, snippet] of Object.entries(snippets)) {
    test(`the snippet “${name}” has nothing wrong`, () => {
        const text = expanded(snippet);
        const whole = /^(new|piece|form|harmony|dynamics|voice|instrument|ensemble|scoring)/.test(snippet.prefix);
        const source = (around[snippet.prefix] ?? (whole ? (text) => text : inLine))(text);
        assert.deepEqual(invalid(tokens(source)).map((token) => token.text), []);
    });
}

test("the snippet of a whole piece compiles without a finding", needsCompiler, () => {
    const file = join(mkdtempSync(join(tmpdir(), "ripieno-")), "new.ripieno");
    writeFileSync(file, `${expanded(snippets["A new piece"])}\n`);
    const checked = run(ripieno, ["check", "--format", "short", file]);
    assert.equal(checked.status, 0, checked.stderr);
    assert.doesNotMatch(checked.stderr, /(error|warning)\[/);
});
