// The settings for Helix are TOML, and name our server.

import assert from "node:assert/strict";
import { test } from "node:test";
import { join } from "node:path";

import { repository } from "./places.mjs";
import { needs, run } from "./tools.mjs";

test("the settings for Helix start the server for our files", needs("python3", "apt install python3"), () => {
    const file = join(repository, "editors/helix/languages.toml");
    const ended = run("python3", ["-c", "import json, sys, tomllib; print(json.dumps(tomllib.load(open(sys.argv[1], 'rb'))))", file]);
    assert.equal(ended.status, 0, ended.stderr);
    const settings = JSON.parse(ended.stdout);
    const [language] = settings.language;
    assert.deepEqual(language["file-types"], ["ripieno"]);
    const servers = language["language-servers"].map((name) => settings["language-server"][name]);
    assert.deepEqual(servers, [{ command: "ripieno", args: ["lsp"] }]);
});
