// Emacs, without a window: the mode shows every word of the language, indents, knows where strings
// and comments end, and takes findings apart.

import assert from "node:assert/strict";
import { cpSync, mkdtempSync, readFileSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { test } from "node:test";

import { read, repository } from "./places.mjs";
import { needs, needsCompiler, ripieno, run } from "./tools.mjs";
import { wordPlaces } from "./words.mjs";

const has = needs("emacs", "apt install emacs-nox");
const folder = mkdtempSync(join(tmpdir(), "ripieno-emacs-"));
const mode = join(repository, "editors/emacs/ripieno-mode.el");

/** Evaluates forms in an Emacs that knows our mode; the last one gives what is written as JSON. With "-q" it knows the packages of the machine. */
function ask(forms, files = {}, bare = "-Q") {
    for (const [name, text] of Object.entries(files)) {
        writeFileSync(join(folder, name), text);
    }
    const file = join(folder, "ask.el");
    const answer = join(folder, "answer.json");
    writeFileSync(file, `;;; -*- lexical-binding: t; -*-
(require 'json)
(set-language-environment "UTF-8")
(load "${mode}" nil t)
(let ((answer (progn ${forms})))
  (with-temp-file "${answer}" (insert (json-encode answer))))
`);
    const ended = run("emacs", [bare, "--batch", "-l", file], { cwd: folder });
    assert.equal(ended.status, 0, ended.stderr);
    return JSON.parse(readFileSync(answer, "utf8"));
}

test("the mode compiles without a warning", has, () => {
    const copy = join(folder, "ripieno-mode.el");
    cpSync(mode, copy);
    const ended = run("emacs", ["-Q", "--batch", "--eval", "(setq byte-compile-error-on-warn t)", "-f", "batch-byte-compile", copy]);
    assert.equal(ended.status, 0, ended.stderr);
});

test("emacs shows each word of the language as one", has, () => {
    const sources = wordPlaces();
    const files = Object.fromEntries(sources.map(({ text }, index) => [`source-${index}.ripieno`, text]));
    files["words.json"] = JSON.stringify(sources.map(({ words }) => words));
    const { plain, tried } = ask(`
(let ((all (let ((json-array-type 'list)) (json-read-file "words.json"))) (index 0) (tried 0) plain)
  (dolist (words all)
    (with-current-buffer (find-file-noselect (format "source-%d.ripieno" index))
      (unless (eq major-mode 'ripieno-mode) (error "not our mode"))
      (font-lock-ensure)
      (dolist (word words)
        (goto-char (point-min))
        (forward-line (1- (alist-get 'line word)))
        (setq tried (1+ tried))
        (let ((face (get-text-property (+ (point) (1- (alist-get 'character word))) 'face)))
          (when (memq face '(nil font-lock-string-face font-lock-comment-face font-lock-variable-name-face font-lock-function-name-face))
            (push (format "%d:%d %s %s" index (alist-get 'line word) (alist-get 'word word) face) plain)))))
    (setq index (1+ index)))
  (list (cons 'plain (vconcat plain)) (cons 'tried tried)))`, files);
    assert.ok(tried > 500, `only ${tried} words were tried`);
    assert.deepEqual(plain.map((line) => line.replace(/^\d+/, (index) => sources[index].name)), []);
});

test("emacs ends strings and comments at their line", has, () => {
    const { faces } = ask(`
(with-current-buffer (find-file-noselect "strings.ripieno")
  (font-lock-ensure)
  (list (cons 'faces (vconcat (mapcar (lambda (word)
    (goto-char (point-min)) (search-forward word) (format "%s" (get-text-property (1- (point)) 'face)))
    '("weir" "copyist" "form" "voice" "last"))))))`, {
        "strings.ripieno": 'piece "On the // weir" { // the copyist\'s "own\n  composer "open\n}\nform {\n}\nvoice upper { // last "one"\n}\n',
    });
    assert.deepEqual(faces, ["font-lock-string-face", "font-lock-comment-face", "font-lock-keyword-face", "font-lock-keyword-face", "font-lock-comment-face"]);
});

test("emacs indents a sample as it is, and lists its declarations", has, () => {
    const text = read("samples/mill-race.ripieno");
    const { indented, index } = ask(`
(with-current-buffer (find-file-noselect "flat.ripieno")
  (let ((inhibit-message t)) (indent-region (point-min) (point-max)))
  (list (cons 'indented (buffer-string))
        (cons 'index (mapcar #'car (cdr (assoc "Scorings" (funcall imenu-create-index-function)))))))`, {
        "flat.ripieno": text.replace(/^[ ]+/gm, ""),
    });
    assert.equal(indented, text);
    assert.deepEqual(index, [...text.matchAll(/^scoring (\S+)/gm)].map(([, name]) => name));
});

const WEIR = `use "forces.ripieno"

piece "Weir 🎻" { licence "CC0-1.0" }
form {
  1         metre 4/4, key D minor, tempo 1/4 at 96
  2         end
}
voice upper {
    1: 1/4 D5 E F G |
    2: 1/1 A5 |
}
scoring small for duo {
  oboe          plays upper                   as melody
}
`;

/** Options of a test that needs Eglot: part of Emacs 29, a package of its own before. */
function needsEglot() {
    if (has.skip || needsCompiler.skip) {
        return { ...needsCompiler, ...has };
    }
    const ended = run("emacs", ["-q", "--batch", "--eval", "(progn (package-initialize) (require 'eglot))"]);
    return ended.status === 0 || process.env.CI === "true" ? {} : { skip: "Eglot is missing: apt install elpa-eglot" };
}

test("with Eglot an error appears and vanishes, a fix, a rename and the form are applied, a note is told of", needsEglot(), () => {
    const told = ask(`
(package-initialize)
(require 'eglot)
(setq ripieno-program "${ripieno}" eglot-sync-connect 30 eglot-confirm-server-initiated-edits nil)
(let (told)
  (cl-flet* ((note (name value) (push (cons name value) told))
             (found () (vconcat (sort (mapcar (lambda (finding)
                                                (format "%d %s" (line-number-at-pos (flymake-diagnostic-beg finding))
                                                        (car (split-string (flymake-diagnostic-text finding) "\n"))))
                                              (flymake-diagnostics)) #'string<)))
             (settled (count)
               ;; What an idle moment does for a person who types.
               (eglot--signal-textDocument/didChange)
               (let ((tries 0))
                 (while (and (< tries 600) (/= (length (found)) count))
                   (accept-process-output nil 0.05)
                   (setq tries (1+ tries))))
               (found))
             (at (text) (goto-char (point-min)) (search-forward text) (goto-char (match-beginning 0))))
    (find-file "broken.ripieno")
    (apply #'eglot (eglot--guess-contact))
    (note 'broken (settled 1))
    (at "palys")
    (eglot-code-actions (point) nil "quickfix" t)
    (note 'mended (settled 0))
    (at "upper")
    (eglot-rename "weir-tune")
    (note 'renamed (settled 0))
    (at "E F G")
    (insert "A ")
    (note 'long (settled 1))
    (delete-char -2)
    (note 'short (settled 0))
    (at "A5")
    (note 'hover (plist-get (plist-get (jsonrpc-request (eglot--current-server-or-lose) :textDocument/hover (eglot--TextDocumentPositionParams)) :contents) :value))
    (ripieno-show-bar "small" 1)
    (note 'bar (with-current-buffer "*Ripieno bar*" (buffer-substring-no-properties (point-min) (point-max))))
    (eglot-format-buffer)
    (note 'text (buffer-substring-no-properties (point-min) (point-max)))
    (eglot-shutdown (eglot--current-server-or-lose))
    told))`, {
        "broken.ripieno": WEIR.replace(" plays ", " palys "),
        "forces.ripieno": "ensemble duo {\n  era 1770\n  oboe 2\n}\n",
    }, "-q");
    assert.deepEqual(told.broken, ["13 ripieno [syntax/unexpected]: Unexpected `palys` in this line of the scoring."]);
    assert.deepEqual([told.mended, told.renamed, told.short], [[], [], []]);
    assert.deepEqual(told.long, ["9 ripieno [bars/too-long]: Bar 1 is 1 beat (1/4) too long."]);
    assert.match(told.hover, /^A5 · bar 2, beat 1[\s\S]*Oboe 1 \(melody\)/);
    assert.match(told.bar, /Ob\. 1 │ D5/);
    assert.equal(told.text, WEIR.replaceAll("upper    ", "weir-tune").replaceAll("upper", "weir-tune"));
});

test("M-x compile finds each finding, at its place", { ...has, ...(has.skip ? {} : needsCompiler) }, () => {
    writeFileSync(join(folder, "twenty mistakes.ripieno"), read("tests/fixtures/twenty-mistakes.ripieno"));
    const { list } = ask(`
(let ((compilation-ask-about-save nil) (ripieno-program "${ripieno}") found)
  (find-file "twenty mistakes.ripieno")
  (let ((buffer (compile compile-command)))
    (while (get-buffer-process buffer) (accept-process-output nil 0.05))
    (with-current-buffer buffer
      (compilation--ensure-parse (point-max))
      (goto-char (point-min))
      (while (not (eobp))
        (let ((message (get-text-property (point) 'compilation-message)))
          (when message
            (let ((loc (compilation--message->loc message)))
              (push (vector (caar (compilation--loc->file-struct loc)) (compilation--loc->line loc) (compilation--loc->col loc) (compilation--message->type message)) found))))
        (forward-line 1))))
  (list (cons 'list (vconcat (nreverse found)))))`);
    const data = run(ripieno, ["check", "--format", "json", "twenty mistakes.ripieno"], { cwd: folder });
    const kinds = { error: 2, warning: 1, advice: 0 };
    assert.deepEqual(
        list,
        JSON.parse(data.stdout).findings.map(({ severity, start }) => ["twenty mistakes.ripieno", start.line, start.column, kinds[severity]]),
    );
});
