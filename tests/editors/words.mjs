// Where words of the language stand in the sources, for editors that are asked how they show them.

import { good } from "./places.mjs";
import { tokens } from "./textmate.mjs";

/**
 * Each place of a word of the language, by the TextMate grammar: source, line and column from 1, in
 * bytes of UTF-8 (`byte`) and in characters (`character`).
 */
export function wordPlaces() {
    return good.map(({ name, text }) => {
        const lines = text.split("\n");
        const words = tokens(text)
            .filter(({ scopes }) => /^(keyword\.(other|control)|storage|support|constant\.language)\./.test(scopes.at(-1) ?? ""))
            .map((token) => {
                const before = lines[token.line].slice(0, token.column);
                return {
                    word: token.text,
                    line: token.line + 1,
                    byte: Buffer.byteLength(before) + 1,
                    character: [...before].length + 1,
                };
            });
        return { name, text, words };
    });
}
