// "Show a bar of a scoring as text": asks for scoring and bar, and the server for the text.

import {
    EventEmitter, type TextDocument, type TextDocumentContentProvider, type TextEditor, Uri, ViewColumn, window,
    workspace,
} from "vscode";

import type { Server } from "./server";

/** The server's command; its one argument is a `BarRequest`, its answer the text. */
const COMMAND = "ripieno.showBar";

interface BarRequest {
    uri: string;
    scoring: string;
    /** The number of the bar as in the source. */
    bar: number;
}

export async function showBarAsText(server: Server): Promise<void> {
    const editor = window.activeTextEditor;
    if (editor?.document.languageId !== "ripieno") {
        return;
    }
    if (!server.serverCommands.includes(COMMAND)) {
        void window.showWarningMessage("The Ripieno language server is not running, or is too old to show bars as text.");
        return;
    }
    const scoring = await chooseScoring(editor);
    if (scoring === undefined) {
        return;
    }
    const bar = await chooseBar(editor);
    if (bar === undefined) {
        return;
    }
    const request: BarRequest = { uri: editor.document.uri.toString(), scoring, bar };
    const text = await server.request<string | null>("workspace/executeCommand", { command: COMMAND, arguments: [request] });
    if (text) {
        await show(`${scoring}, bar ${bar}`, text);
    }
}

async function chooseScoring(editor: TextEditor): Promise<string | undefined> {
    const scorings = scoringsOf(editor.document);
    if (scorings.length === 0) {
        void window.showWarningMessage("There is no scoring in this file.");
        return undefined;
    }
    // The scoring in which the cursor stands comes first.
    const line = editor.selection.active.line;
    const here = scorings.filter((scoring) => scoring.line <= line).at(-1);
    const names = scorings.map(({ name }) => name);
    const sorted = here ? [here.name, ...names.filter((name) => name !== here.name)] : names;
    return sorted.length === 1 ? sorted[0] : window.showQuickPick(sorted, { title: "Which scoring?" });
}

async function chooseBar(editor: TextEditor): Promise<number | undefined> {
    const answer = await window.showInputBox({
        title: "Which bar?",
        value: String(barAt(editor.document, editor.selection.active.line) ?? 1),
        validateInput: (text) => (/^\d{1,5}$/.test(text.trim()) ? undefined : "The number of a bar, as in the source"),
    });
    return answer === undefined ? undefined : Number(answer.trim());
}

function scoringsOf(document: TextDocument): { name: string; line: number }[] {
    return Array.from({ length: document.lineCount }, (_, line) => line).flatMap((line) => {
        const name = /^\s*scoring\s+(\p{Ll}[\p{L}0-9-]*)/u.exec(document.lineAt(line).text)?.[1];
        return name ? [{ name, line }] : [];
    });
}

/** The bar whose number stands on the line or on the nearest one above it. */
function barAt(document: TextDocument, from: number): number | undefined {
    for (let line = from; line >= 0; line -= 1) {
        const number = /^\s*(\d+):/.exec(document.lineAt(line).text)?.[1];
        if (number !== undefined) {
            return Number(number);
        }
    }
    return undefined;
}

const SCHEME = "ripieno-bar";

/** Holds the bars that are shown, so that a page can be read and not be saved. */
class Pages implements TextDocumentContentProvider {
    private readonly texts = new Map<string, string>();
    private readonly changed = new EventEmitter<Uri>();
    readonly onDidChange = this.changed.event;

    set(uri: Uri, text: string): void {
        this.texts.set(uri.toString(), text);
        this.changed.fire(uri);
    }

    provideTextDocumentContent(uri: Uri): string {
        return this.texts.get(uri.toString()) ?? "";
    }
}

let pages: Pages | undefined;

async function show(title: string, text: string): Promise<void> {
    if (!pages) {
        pages = new Pages();
        workspace.registerTextDocumentContentProvider(SCHEME, pages);
    }
    const uri = Uri.from({ scheme: SCHEME, path: `${title}.txt` });
    pages.set(uri, text);
    const document = await workspace.openTextDocument(uri);
    await window.showTextDocument(document, { viewColumn: ViewColumn.Beside, preserveFocus: true, preview: true });
}
