// What the user has set.

import { homedir } from "node:os";

import { workspace } from "vscode";

/** The compiler as it is started: `~` and `${workspaceFolder}` are written out. */
export function compiler(): string {
    const path = workspace.getConfiguration("ripieno").get<string>("path", "").trim() || "ripieno";
    const folder = workspace.workspaceFolders?.[0]?.uri.fsPath ?? "";
    return path.replace(/^\$\{workspaceFolder\}/, folder).replace(/^~(?=[/\\])/, homedir());
}

/** What the compiler is started with to serve the editor. */
export function serverArguments(): string[] {
    return workspace.getConfiguration("ripieno").get<string[]>("arguments", ["lsp"]);
}
