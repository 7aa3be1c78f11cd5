// The extension as it runs: its bundle is loaded with a stand-in for the editor, starts a server,
// sends it what is opened, shows its findings, and stops it.

import assert from "node:assert/strict";
import Module, { createRequire } from "node:module";
import { join } from "node:path";
import { test } from "node:test";

import { modules, repository } from "./places.mjs";

class Disposable {
    constructor(end = () => undefined) {
        this.dispose = end;
    }
    static from(...all) {
        return new Disposable(() => all.forEach((one) => one.dispose()));
    }
}
class EventEmitter {
    listeners = new Set();
    event = (listener, self) => {
        const bound = listener.bind(self);
        this.listeners.add(bound);
        return new Disposable(() => this.listeners.delete(bound));
    };
    fire = (value) => this.listeners.forEach((listener) => listener(value));
    dispose() {}
}
class Position {
    constructor(line, character) {
        Object.assign(this, { line, character });
    }
}
class Range {
    constructor(start, endOrCharacter, ...end) {
        Object.assign(this, end.length > 0
            ? { start: new Position(start, endOrCharacter), end: new Position(...end) }
            : { start, end: endOrCharacter });
    }
}
class Diagnostic {
    constructor(range, message, severity) {
        Object.assign(this, { range, message, severity });
    }
}
class CancellationTokenSource {
    token = { isCancellationRequested: false, onCancellationRequested: () => new Disposable() };
    cancel() {}
    dispose() {}
}
class Uri {
    constructor(parts) {
        Object.assign(this, parts);
    }
    static parse = (text) => new Uri({ scheme: /^[a-z-]+/.exec(text)[0], path: text.replace(/^[a-z-]+:(\/\/)?/, ""), fsPath: text.replace(/^file:\/\//, "") });
    static file = (path) => Uri.parse(`file://${path}`);
    static from = (parts) => new Uri(parts);
    toString() {
        return this.scheme === "file" ? `file://${this.path}` : `${this.scheme}:${this.path}`;
    }
}

/** Anything that is asked for and matters not to these tests: callable, constructible, with members. */
function anything() {
    class Any {}
    return new Proxy(Any, {
        get: (target, key) => (key in target || typeof key === "symbol" ? target[key] : undefined),
        apply: () => new Disposable(),
        construct: () => ({}),
    });
}
const withAnything = (members) =>
    new Proxy(members, {
        get: (target, key) => {
            if (!(key in target) && typeof key === "string") {
                target[key] = /^on(Did|Will)/.test(key) ? new EventEmitter().event : anything();
            }
            return target[key];
        },
    });

/** An editor with one open document, as far as the extension sees it. */
function editor(settings, text) {
    const uri = Uri.file("/tmp/dance.ripieno");
    const document = {
        uri, languageId: "ripieno", version: 1, isClosed: false, fileName: uri.fsPath, notebook: undefined,
        getText: () => text,
        lineCount: text.split("\n").length,
        lineAt: (line) => ({ text: text.split("\n")[line] }),
    };
    const shown = { errors: [], diagnostics: new Map(), commands: new Map(), providers: [], content: undefined };
    const log = withAnything({ logLevel: 0, append() {}, appendLine() {}, info() {}, warn() {}, error() {}, trace() {}, debug() {}, show() {}, dispose() {}, name: "Ripieno" });
    const configuration = (section) => ({
        get: (key, fallback) => settings[[section, key].filter(Boolean).join(".")] ?? fallback,
        has: () => false,
        inspect: () => undefined,
    });
    const vscode = withAnything({
        CancellationTokenSource, Disposable, EventEmitter, Position, Range, Diagnostic, Uri,
        version: "1.91.0",
        env: withAnything({ appName: "test", language: "en", logLevel: 0 }),
        DiagnosticSeverity: { Error: 0, Warning: 1, Information: 2, Hint: 3 },
        LogLevel: { Off: 0 },
        ViewColumn: { Beside: -2 },
        TaskScope: { Workspace: 2 },
        TaskGroup: { Build: "build", Test: "test" },
        ShellExecution: class { constructor(command, args) { Object.assign(this, { command, args }); } },
        Task: class { constructor(definition, scope, name, source, execution, matchers) { Object.assign(this, { definition, scope, name, source, execution, matchers }); } },
        commands: withAnything({
            registerCommand: (name, run) => {
                assert.ok(!shown.commands.has(name), `${name} is registered twice`);
                shown.commands.set(name, run);
                return new Disposable(() => shown.commands.delete(name));
            },
        }),
        tasks: { registerTaskProvider: (type, provider) => (shown.providers.push(provider), new Disposable()) },
        languages: withAnything({
            match: (selector, asked) => ([selector].flat().some((one) => one.language === asked.languageId) ? 10 : 0),
            createDiagnosticCollection: () => ({
                set: (place, found) => shown.diagnostics.set(place.toString(), found ?? []),
                delete: (place) => shown.diagnostics.delete(place.toString()),
                clear: () => shown.diagnostics.clear(),
                has: (place) => shown.diagnostics.has(place.toString()),
                dispose() {},
            }),
        }),
        window: withAnything({
            createOutputChannel: () => log,
            activeTextEditor: { document, selection: { active: new Position(4, 0) } },
            visibleTextEditors: [],
            tabGroups: withAnything({ all: [] }),
            showErrorMessage: async (message) => void shown.errors.push(message),
            showWarningMessage: async (message) => void shown.errors.push(message),
            showInputBox: async ({ value }) => value,
            showQuickPick: async ([first]) => first,
            showTextDocument: async (opened) => void (shown.content = opened.text),
        }),
        workspace: withAnything({
            textDocuments: [document],
            notebookDocuments: [],
            workspaceFolders: undefined,
            isTrusted: true,
            getConfiguration: configuration,
            createFileSystemWatcher: () => withAnything({ dispose() {} }),
            registerTextDocumentContentProvider: (scheme, provider) => (shown.content = provider, new Disposable()),
            openTextDocument: async (place) => ({ text: shown.content.provideTextDocumentContent(place) }),
        }),
    });
    return { vscode, shown, document };
}

function load(vscode) {
    const original = Module._load;
    Module._load = function (name, ...rest) {
        return name === "vscode" ? vscode : original.call(this, name, ...rest);
    };
    const require = createRequire(import.meta.url);
    const bundle = join(modules, "dist/extension.js");
    delete require.cache[bundle];
    try {
        return require(bundle);
    } finally {
        Module._load = original;
    }
}

async function until(condition, what) {
    for (let tried = 0; tried < 1000; tried += 1) {
        if (condition()) {
            return;
        }
        await new Promise((resolve) => setTimeout(resolve, 20));
    }
    assert.fail(`waited in vain for ${what}`);
}

test("the extension starts the server, shows its findings and a bar, starts it again and stops it", async () => {
    const settings = { "ripieno.path": process.execPath, "ripieno.arguments": [join(repository, "tests/editors/server.mjs"), "lsp"] };
    const { vscode, shown, document } = editor(settings, "voice upper {\n  12: MISTAKE |\n}\nscoring small for duo {\n}\n");
    const extension = load(vscode);
    const context = { subscriptions: [] };
    await extension.activate(context);
    assert.deepEqual(shown.errors, []);
    const found = () => shown.diagnostics.get(document.uri.toString()) ?? [];
    await until(() => found().length === 1, "a finding");
    assert.equal(found()[0].message, "a mistake");
    assert.equal(found()[0].range.start.line, 1);

    await shown.commands.get("ripieno.showBarAsText")();
    assert.equal(shown.content, "small, bar 12");

    await shown.commands.get("ripieno.restartServer")();
    await until(() => found().length === 1, "the finding of the second server");

    const [check, build] = shown.providers[0].provideTasks();
    assert.deepEqual([check.execution.args, build.execution.args], ["check", "build"].map((command) => [command, "${file}", "--format", "short"]));
    assert.deepEqual(check.matchers, ["$ripieno", "$ripieno-advice"]);
    await extension.deactivate();
    context.subscriptions.forEach((one) => one.dispose());
});

test("where there is no compiler the extension says what to do", async () => {
    const { vscode, shown } = editor({ "ripieno.path": "/nowhere/ripieno" }, "\n");
    const extension = load(vscode);
    await extension.activate({ subscriptions: [] });
    await until(() => shown.errors.length > 0, "a message");
    assert.match(shown.errors.at(-1), /“\/nowhere\/ripieno”.*ripieno\.path/);
    await extension.deactivate();
});
