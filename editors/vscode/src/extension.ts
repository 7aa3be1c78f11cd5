// Starts the language server, and offers what an editor does beside it: tasks and commands.

import { commands, type ExtensionContext, window, workspace } from "vscode";

import { showBarAsText } from "./bar";
import { Server } from "./server";
import { registerTasks } from "./tasks";

let server: Server | undefined;

export async function activate(context: ExtensionContext): Promise<void> {
    const running = (server = new Server(window.createOutputChannel("Ripieno", { log: true })));
    context.subscriptions.push(
        running,
        commands.registerCommand("ripieno.restartServer", () => running.restart()),
        commands.registerCommand("ripieno.showBarAsText", () => showBarAsText(running)),
        workspace.onDidChangeConfiguration(async (change) => {
            if (change.affectsConfiguration("ripieno.path") || change.affectsConfiguration("ripieno.arguments")) {
                await running.restart();
            }
        }),
        registerTasks(),
    );
    await running.start();
}

export async function deactivate(): Promise<void> {
    await server?.stop();
}
