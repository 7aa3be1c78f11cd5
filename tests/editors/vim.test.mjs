// Vim and Neovim, without a window: the syntax file shows every word of the language, blocks end
// where they end, indentation leaves good sources as they are, and :make finds each finding.

import assert from "node:assert/strict";
import { mkdtempSync, readFileSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { test } from "node:test";

import { read, repository } from "./places.mjs";
import { needs, needsCompiler, ripieno, run } from "./tools.mjs";
import { wordPlaces } from "./words.mjs";

const editors = [
    { name: "vim", program: "vim", args: ["-es", "-u", "NONE", "-N"], remedy: "apt install vim" },
    { name: "neovim", program: "nvim", args: ["--headless", "-u", "NONE", "-n"], remedy: "apt install neovim" },
];

const folder = mkdtempSync(join(tmpdir(), "ripieno-vim-"));

/** Runs a script in an editor that knows our files, and gives what it wrote as JSON. */
function ask({ program, args }, script, files = {}) {
    for (const [name, text] of Object.entries(files)) {
        writeFileSync(join(folder, name), text);
    }
    const file = join(folder, "ask.vim");
    const answer = join(folder, "answer.json");
    writeFileSync(file, `
try
  set encoding=utf-8 nomore
  set runtimepath^=${join(repository, "editors/vim")}
  filetype plugin indent on
  syntax on
  let s:answer = {}
${script}
  call writefile([json_encode(s:answer)], '${answer}')
catch
  call writefile([json_encode({'problem': v:exception . ' at ' . v:throwpoint})], '${answer}')
endtry
qall!
`);
    writeFileSync(answer, '{"problem": "the editor did not answer"}');
    run(program, [...args, "-S", file], { cwd: folder, input: "" });
    const given = JSON.parse(readFileSync(answer, "utf8"));
    assert.equal(given.problem, undefined);
    return given;
}

for (const editor of editors) {
    const has = needs(editor.program, editor.remedy);

    test(`${editor.name} shows each word of the language as one`, has, () => {
        const sources = wordPlaces();
        const files = Object.fromEntries(sources.map(({ text }, index) => [`source-${index}.ripieno`, text]));
        files["words.json"] = JSON.stringify(sources.map(({ words }) => words));
        const { plain, tried } = ask(editor, `
  let s:answer = {'plain': [], 'tried': 0}
  let s:all = json_decode(join(readfile('words.json'), ''))
  for s:index in range(len(s:all))
    execute 'edit! source-' . s:index . '.ripieno'
    syntax sync fromstart
    for s:word in s:all[s:index]
      let s:group = synIDattr(synID(s:word.line, s:word.byte, 1), 'name')
      let s:answer.tried += 1
      " The region around it is no word.
      if s:group !~# '^ripieno' || s:group =~# '^ripieno\\%(Piece\\|Form\\|Harmony\\|Dynamics\\|Voice\\|Ensemble\\|Scoring\\|Written\\|Name\\|Player\\)$'
        call add(s:answer.plain, s:index . ':' . s:word.line . ' ' . s:word.word . ' ' . s:group)
      endif
    endfor
  endfor`, files);
        assert.ok(tried > 500, `only ${tried} words were tried`);
        assert.deepEqual(plain.map((line) => line.replace(/^\d+/, (index) => sources[index].name)), []);
    });

    test(`${editor.name} lets a declaration that is not closed end at the next one`, has, () => {
        const lost = ["voice upper {", "  1: 1/4 {D5 3:2(1/8 E F", "", "scoring small for duo {", "  oboe plays upper as melody", "  horn writes as bass {", "    1: 1/1 C5", "  oboe rests bars 1", "form {", "  1 metre 3/4"];
        const { groups } = ask(editor, `
  edit lost.ripieno
  syntax sync fromstart
  let s:answer.groups = map([[1, 1], [4, 1], [5, 8], [8, 8], [9, 1], [10, 5]], {_, at -> synIDattr(synID(at[0], at[1], 1), 'name')})`, { "lost.ripieno": lost.join("\n") });
        assert.deepEqual(groups, ["ripienoDeclaration", "ripienoDeclaration", "ripienoVerb", "ripienoVerb", "ripienoDeclaration", "ripienoFormWord"]);
    });

    test(`${editor.name} indents a sample as it is`, has, () => {
        const text = read("samples/mill-race.ripieno");
        const { lines } = ask(editor, `
  edit flat.ripieno
  normal! gg=G
  let s:answer.lines = getline(1, '$')`, { "flat.ripieno": text.replace(/^[ ]+/gm, "") });
        assert.equal(`${lines.join("\n")}\n`, text);
    });

    test(`${editor.name} fills the quickfix list with each finding, at its place`, { ...has, ...(has.skip ? {} : needsCompiler) }, () => {
        const text = read("tests/fixtures/twenty-mistakes.ripieno");
        const { list } = ask(editor, `
  let g:ripieno_path = '${ripieno}'
  edit twenty mistakes.ripieno
  silent make!
  let s:answer.list = map(filter(getqflist(), 'v:val.valid'), {_, it -> [bufname(it.bufnr), it.lnum, it.col, it.vcol, it.type, it.text]})`.replace("edit twenty mistakes", "edit twenty\\ mistakes"), { "twenty mistakes.ripieno": text });
        const data = run(ripieno, ["check", "--format", "json", "twenty mistakes.ripieno"], { cwd: folder });
        const { findings } = JSON.parse(data.stdout);
        assert.ok(findings.length >= 20);
        assert.deepEqual(
            list,
            findings.map(({ code, message, severity, start }) => ["twenty mistakes.ripieno", start.line, start.column, 1, severity[0], `[${code}]: ${message}`]),
        );
    });
}

test("neovim starts the server, shows its findings, starts it again and shows a bar", needs("nvim", "apt install neovim"), () => {
    const neovim = editors[1];
    const { findings, closed, restarted, shown } = ask(neovim, `
  set runtimepath^=${join(repository, "editors/neovim")}
  lua require('ripieno').setup({ cmd = { '${process.execPath}', '${join(repository, "tests/editors/server.mjs")}', 'lsp' } })
  edit dance.ripieno
  call wait(20000, {-> luaeval('#vim.diagnostic.get(0)') == 1}, 20)
  let s:answer.findings = luaeval('vim.tbl_map(function(it) return { it.lnum + 1, it.message } end, vim.diagnostic.get(0))')
  call setline(3, '  1: 1/1 D5 |')
  call wait(20000, {-> luaeval('#vim.diagnostic.get(0)') == 0}, 20)
  let s:answer.closed = luaeval('#vim.diagnostic.get(0)')
  call setline(3, '  1: MISTAKE |')
  RipienoRestart
  call wait(20000, {-> luaeval('#vim.lsp.get_active_clients()') == 1 && luaeval('#vim.diagnostic.get(0)') == 1}, 20)
  let s:answer.restarted = luaeval('#vim.diagnostic.get(0)')
  RipienoShowBar small 12
  call wait(20000, {-> winnr('$') == 2}, 20)
  let s:answer.shown = getline(1, '$')
  lua vim.lsp.stop_client(vim.lsp.get_active_clients(), true)`, { "dance.ripieno": "// a dance\nvoice upper {\n  1: MISTAKE |\n}\n" });
    assert.deepEqual(findings, [[3, "a mistake"]]);
    assert.equal(closed, 0);
    assert.equal(restarted, 1);
    assert.deepEqual(shown, ["small, bar 12"]);
});
