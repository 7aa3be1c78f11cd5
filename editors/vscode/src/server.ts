// The language server: `ripieno lsp` over standard input and output.

import { commands, type Disposable, type LogOutputChannel, window, workspace } from "vscode";
import { LanguageClient, type LanguageClientOptions, type ServerOptions } from "vscode-languageclient/node";

import { compiler, serverArguments } from "./settings";

export class Server implements Disposable {
    private client: LanguageClient | undefined;
    private watched: Disposable | undefined;
    /** Starts and stops follow each other, however fast the user asks for them. */
    private queue: Promise<void> = Promise.resolve();

    constructor(private readonly output: LogOutputChannel) {}

    start(): Promise<void> {
        return this.enqueue(() => this.startNow());
    }

    stop(): Promise<void> {
        return this.enqueue(() => this.stopNow());
    }

    restart(): Promise<void> {
        return this.enqueue(async () => {
            await this.stopNow();
            await this.startNow();
        });
    }

    /** Asks the server; says so where there is none. */
    async request<Answer>(method: string, params: unknown): Promise<Answer | undefined> {
        if (!this.client?.isRunning()) {
            void window.showWarningMessage("The Ripieno language server is not running.");
            return undefined;
        }
        return this.client.sendRequest<Answer>(method, params);
    }

    /** The commands that the server carries out. */
    get serverCommands(): readonly string[] {
        return this.client?.initializeResult?.capabilities.executeCommandProvider?.commands ?? [];
    }

    dispose(): void {
        void this.stop();
        this.output.dispose();
    }

    private enqueue(step: () => Promise<void>): Promise<void> {
        this.queue = this.queue.then(step, step);
        return this.queue;
    }

    private async startNow(): Promise<void> {
        const command = compiler();
        // Without a transport the client talks over standard input and output.
        const options: ServerOptions = { command, args: serverArguments() };
        const watched = workspace.createFileSystemWatcher("**/*.ripieno");
        const clientOptions: LanguageClientOptions = {
            documentSelector: [
                { language: "ripieno", scheme: "file" },
                { language: "ripieno", scheme: "untitled" },
            ],
            // Sources that other sources `use` change outside the editor too.
            synchronize: { fileEvents: watched, configurationSection: "ripieno" },
            outputChannel: this.output,
            diagnosticCollectionName: "ripieno",
        };
        const client = new LanguageClient("ripieno", "Ripieno", options, clientOptions);
        try {
            await client.start();
            this.client = client;
            this.watched = watched;
        } catch (error) {
            this.output.error(`${command} ${serverArguments().join(" ")} could not be started`, error);
            void this.explain(command);
            watched.dispose();
            // What did not start need not stop.
            await client.dispose().catch(() => undefined);
        }
    }

    private async stopNow(): Promise<void> {
        const client = this.client;
        this.client = undefined;
        this.watched?.dispose();
        // A server that has died has nothing left to stop.
        await client?.dispose().catch((error: unknown) => this.output.warn(String(error)));
    }

    private async explain(command: string): Promise<void> {
        const settings = "Open the settings";
        const output = "Show the output";
        const chosen = await window.showErrorMessage(
            `The Ripieno compiler could not be started as “${command}”. Install it (cargo install --path . in its repository), or set “ripieno.path”. Highlighting and snippets work without it.`,
            settings,
            output,
        );
        if (chosen === settings) {
            await commands.executeCommand("workbench.action.openSettings", "ripieno.path");
        } else if (chosen === output) {
            this.output.show();
        }
    }
}
