// A language server that knows one mistake, the word MISTAKE: with it the tests ask editors whether
// they start a server and show what it says. It talks over standard input and output.

import process from "node:process";

if (process.argv[2] !== "lsp") {
    process.exit(2);
}

const send = (message) => {
    const text = JSON.stringify({ jsonrpc: "2.0", ...message });
    process.stdout.write(`Content-Length: ${Buffer.byteLength(text)}\r\n\r\n${text}`);
};

function publish(uri, text) {
    const diagnostics = text.split("\n").flatMap((line, number) => {
        const at = line.indexOf("MISTAKE");
        const range = { start: { line: number, character: at }, end: { line: number, character: at + 7 } };
        return at < 0 ? [] : [{ range, severity: 1, source: "ripieno", message: "a mistake" }];
    });
    send({ method: "textDocument/publishDiagnostics", params: { uri, diagnostics } });
}

const answers = {
    initialize: () => ({
        capabilities: { textDocumentSync: 1, executeCommandProvider: { commands: ["ripieno.showBar"] } },
    }),
    shutdown: () => null,
    "workspace/executeCommand": ({ command, arguments: [request] }) =>
        command === "ripieno.showBar" && request.uri.startsWith("file://") ? `${request.scoring}, bar ${request.bar}` : null,
};
const notices = {
    exit: () => process.exit(0),
    "textDocument/didOpen": ({ textDocument }) => publish(textDocument.uri, textDocument.text),
    "textDocument/didChange": ({ textDocument, contentChanges }) => publish(textDocument.uri, contentChanges.at(-1).text),
};

let read = Buffer.alloc(0);
process.stdin.on("data", (chunk) => {
    read = Buffer.concat([read, chunk]);
    for (;;) {
        const end = read.indexOf("\r\n\r\n");
        if (end < 0) {
            return;
        }
        const length = Number(/Content-Length: (\d+)/i.exec(read.subarray(0, end).toString())[1]);
        if (read.length < end + 4 + length) {
            return;
        }
        const { id, method, params } = JSON.parse(read.subarray(end + 4, end + 4 + length).toString());
        read = read.subarray(end + 4 + length);
        if (id === undefined) {
            notices[method]?.(params);
        } else if (method) {
            send({ id, result: answers[method]?.(params) ?? null });
        }
    }
});
process.stdin.on("end", () => process.exit(0));
