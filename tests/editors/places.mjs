// Where things lie, and the sources that all tests read.

import { readdirSync, readFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";

export const repository = dirname(dirname(dirname(fileURLToPath(import.meta.url))));
/** Where the packages are installed; `run` sets it. */
export const modules = process.env.RIPIENO_EDITOR_MODULES ?? join(repository, "editors/vscode");

export const read = (path) => readFileSync(join(repository, path), "utf8");

const sourcesIn = (folder) =>
    readdirSync(join(repository, folder))
        .filter((file) => file.endsWith(".ripieno"))
        .map((file) => ({ name: `${folder}/${file}`, text: read(`${folder}/${file}`) }));

/** The examples of the language reference that must compile without a finding, or with findings. */
export function examples(kind) {
    const blocks = [...read("grammar/reference.md").matchAll(/^```ripieno([^\n]*)\n(.*?)^```/gms)];
    return blocks
        .filter(([, head]) => (kind === "good") === (head.trim() === ""))
        .map(([, head, text], index) => ({ name: `reference.md, ${kind} example ${index + 1}${head}`, text }));
}

/** Sources in which nothing is wrong that an editor could see. */
export const good = [
    ...sourcesIn("tests/editors"),
    ...sourcesIn("samples"),
    ...sourcesIn("tests/fixtures").filter(({ name }) => !name.includes("mistakes")),
    ...examples("good"),
];

/** Sources with mistakes. */
export const broken = [
    ...sourcesIn("tests/fixtures").filter(({ name }) => name.includes("mistakes")),
    ...sourcesIn("tests/fixtures/errors"),
    ...examples("bad"),
];

/** The words that grammar/ripieno.pest knows as keywords. */
export const keywords = [...read("grammar/ripieno.pest").matchAll(/^kw_\w+\s*=\s*@\{\s*"([^"]+)"/gm)].map(([, word]) => word);

/** The text of the one file below src/ whose path ends so: rooms of the house may move. */
export function sourceFile(end) {
    const found = readdirSync(join(repository, "src"), { recursive: true }).filter((file) => `/${file}`.endsWith(`/${end}`));
    if (found.length !== 1) {
        throw new Error(`${found.length} files below src/ end in ${end}`);
    }
    return read(join("src", found[0]));
}

/** Words of the language that the tables in a file below src/ list: the strings in lines that match. */
export const listed = (end, line) => [...sourceFile(end).matchAll(line)].map(([, word]) => word);
