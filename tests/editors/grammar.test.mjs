// The TextMate grammar: every word of the language has a scope, good sources have nothing marked as
// wrong, and a mistake costs no more than the compiler lets it cost.

import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { test } from "node:test";
import { join } from "node:path";

import { broken, examples, good, keywords, listed, modules, sourceFile } from "./places.mjs";
import { invalid, tokens } from "./textmate.mjs";

const places = (found) => found.map((token) => `${token.line + 1}:${token.column + 1} ${token.text} (${token.scopes.at(-1) ?? "no scope"})`);
/** What a token is, without where it is. */
const kind = (token) => `${token.text} ${token.scopes.join(" ")}`;

test("the grammar is what its script writes", () => {
    execFileSync(process.execPath, [join(modules, "scripts/grammar.mjs"), "--check"], { stdio: "pipe" });
});

test("every keyword of ripieno.pest has the scope of a word of the language", () => {
    assert.ok(keywords.length > 70, "the keywords of the grammar were not found");
    const seen = new Set(
        good.flatMap(({ text }) => tokens(text))
            .filter(({ scopes }) => /^(keyword|storage|support|constant\.language)\./.test(scopes.at(-1) ?? ""))
            .map(({ text }) => text),
    );
    assert.deepEqual(keywords.filter((word) => !seen.has(word)), []);
});

for (const { name, text } of good) {
    test(`nothing is marked as wrong in ${name}`, () => {
        assert.deepEqual(places(invalid(tokens(text))), []);
    });
    test(`everything but blanks, braces and signs has a scope in ${name}`, () => {
        const bare = tokens(text).filter((token) => /[\p{L}0-9{}|]/u.test(token.text) && !token.scopes.some((scope) => !scope.startsWith("meta.")));
        assert.deepEqual(places(bare), []);
    });
}

const inVoice = (bar) => `voice upper {\n  1: ${bar} |\n}\n`;
const scopesOf = (text, wanted) => tokens(text).filter((token) => token.text === wanted).map((token) => token.scopes.at(-1));

test("all marks of the compiler are marks", () => {
    const words = listed("resolve/piece/music.rs", /\(Mark::\w+, "([^"]+)"\)/g);
    assert.ok(words.length >= 16);
    for (const word of [...words, "tremolo"]) {
        assert.deepEqual(scopesOf(inVoice(`1/1 D5[${word}]`), word), ["support.function.mark.ripieno"], word);
    }
});

test("all dynamics and techniques of the compiler are directions", () => {
    const words = listed("resolve/piece/direction.rs", /\((?:Dynamic|Technique)::\w+, "([^"]+)"/g);
    assert.ok(words.length >= 15);
    for (const word of words) {
        assert.match(scopesOf(inVoice(`[${word}] 1/1 D5`), word)[0], /^support\.constant\.(dynamic|technique)\./, word);
    }
});

test("all roles of the compiler are roles", () => {
    const words = listed("resolve/piece/players.rs", /\(Role::\w+, "([^"]+)"\)/g);
    assert.equal(words.length, 5);
    for (const word of words) {
        const line = `scoring small for band {\n  oboe plays upper as ${word}\n}\n`;
        assert.deepEqual(scopesOf(line, word), ["constant.language.role.ripieno"], word);
    }
});

test("all chords of the compiler are chords", () => {
    const rows = [...sourceFile("music/chord.rs").matchAll(/\(ChordQuality::\w+, &\[([^\]]*)\]/g)];
    const suffixes = rows.flatMap(([, names]) => [...names.matchAll(/"([^"]*)"/g)].map(([, suffix]) => suffix));
    assert.ok(suffixes.length >= 17);
    for (const suffix of suffixes) {
        const found = tokens(`harmony {\n  1: F#${suffix}/C# |\n}\n`);
        assert.deepEqual(places(invalid(found)), [], suffix);
        assert.equal(found.filter(({ scopes }) => scopes.at(-1) === "constant.other.chord.bass.ripieno").length, 1, suffix);
    }
});

test("what the compiler cannot read is marked", () => {
    const wrong = {
        H5: inVoice("1/4 D5 H5 E"),
        acent: inVoice("1/1 D5[acent]"),
        loud: inVoice("[loud] 1/1 D5"),
        Dmx: "harmony {\n  1: Dmx |\n}\n",
        palys: "scoring small for duo {\n  oboe  palys upper  as melody\n}\n",
        melodie: "scoring small for duo {\n  oboe  plays upper  as melodie\n}\n",
        meter: "form {\n  1  meter 3/4\n}\n",
        composser: 'piece "A" {\n  composser "B"\n}\n',
        "Dear copyist": "Dear copyist\n",
    };
    for (const [word, text] of Object.entries(wrong)) {
        assert.ok(invalid(tokens(text)).some((token) => token.text === word), word);
    }
});

/** A declaration of each kind. */
const whole = examples("good").map(({ text }) => text).join("\n");

for (const { name, text } of broken) {
    test(`what follows ${name} is read as ever`, () => {
        const follow = whole.trimEnd().split("\n");
        const lines = text.trimEnd().split("\n").length;
        const found = tokens(`${text.trimEnd()}\n${whole}`).filter(({ line }) => line >= lines);
        assert.deepEqual(found.map(kind), tokens(follow.join("\n")).map(kind));
    });
}

const head = /^(piece|form|harmony|dynamics|voice|instrument|ensemble|scoring)\s/;

test("a sign lost or too many costs no more than its declaration", () => {
    const signs = ["{", "}", "(", ")", "[", "]", '"', "|", ":", "&", "=", "/", ",", "..", "?"];
    // What follows, whatever the declaration was.
    const follow = 'voice tail {\n  1: 1/4 D5 |\n}\nscoring all for band {\n  oboe  plays tail  as melody\n}\nform {\n  4  end\n}';
    const expected = tokens(follow).map(kind);
    let tried = 0;
    for (const { text } of good.filter(({ name }) => /samples|every/.test(name))) {
        for (const [declaration] of text.split(/^(?=(?:piece|form|harmony|dynamics|voice|instrument|ensemble|scoring)\s)/m).map((part) => [part.trimEnd()])) {
            // The first lines, the last ones and one in the middle tell as much as all.
            const lines = declaration.split("\n");
            const tries = [...new Set([0, 1, lines.length >> 1, lines.length - 2, lines.length - 1])].filter((line) => line >= 0 && line < lines.length);
            for (const line of tries.filter(() => head.test(declaration))) {
                const at = (line * 7 + declaration.length) % (lines[line].length + 1);
                for (const sign of signs) {
                    for (const changed of [lines[line].slice(0, at) + sign + lines[line].slice(at), lines[line].replace(sign, "")]) {
                        if (changed === lines[line] || (line === 0 && !head.test(changed))) {
                            continue;
                        }
                        // A few lines on either side keep it quick.
                        const near = [lines[0], ...lines.slice(Math.max(1, line - 2)).slice(0, 6), ...lines.slice(-2)];
                        near[line === 0 ? 0 : 1 + Math.min(2, line - 1)] = changed;
                        const found = tokens(`${near.join("\n")}\n${follow}`).filter((token) => token.line >= near.length);
                        assert.deepEqual(found.map(kind), expected, `${declaration.split("\n")[0]} … line ${line + 1}: ${changed}`);
                        tried += 1;
                    }
                }
            }
        }
    }
    assert.ok(tried > 1000, `only ${tried} changes were tried`);
});
