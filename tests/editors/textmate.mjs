// Reads sources with the TextMate grammar, as editors do, and gives the tokens of each line.

import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";

import { modules, repository } from "./places.mjs";

const require = createRequire(join(modules, "/"));
const oniguruma = require("vscode-oniguruma");
const textmate = require("vscode-textmate");

const grammarFile = join(repository, "editors/vscode/syntaxes/ripieno.tmLanguage.json");

async function load() {
    await oniguruma.loadWASM(readFileSync(require.resolve("vscode-oniguruma/release/onig.wasm")));
    const registry = new textmate.Registry({
        onigLib: Promise.resolve({
            createOnigScanner: (patterns) => new oniguruma.OnigScanner(patterns),
            createOnigString: (text) => new oniguruma.OnigString(text),
        }),
        loadGrammar: async () => textmate.parseRawGrammar(readFileSync(grammarFile, "utf8"), grammarFile),
    });
    return registry.loadGrammar("source.ripieno");
}

const grammar = await load();

/**
 * The tokens of a text: line and column from 0, text, and scopes without the first, which is that
 * of the whole source.
 */
export function tokens(text) {
    const found = [];
    let state = textmate.INITIAL;
    text.split(/\r?\n/).forEach((line, number) => {
        const read = grammar.tokenizeLine(line, state);
        state = read.ruleStack;
        for (const token of read.tokens) {
            found.push({
                line: number,
                column: token.startIndex,
                text: line.slice(token.startIndex, token.endIndex),
                scopes: token.scopes.slice(1),
            });
        }
    });
    return found.filter((token) => token.text !== "");
}

/** What is marked as wrong. */
export function invalid(found) {
    return found.filter((token) => token.scopes.some((scope) => scope.startsWith("invalid")));
}
