;;; ripieno-mode.el --- Major mode for Ripieno arrangements  -*- lexical-binding: t; -*-

;; Version: 0.1.0
;; Package-Requires: ((emacs "27.1"))
;; Keywords: languages
;; SPDX-License-Identifier: MIT OR Apache-2.0

;;; Commentary:

;; Highlighting, indentation and an index for `.ripieno' files, `compile' with the findings of the
;; compiler, and the language server `ripieno lsp' through Eglot (part of Emacs 29, else a package).

;;; Code:

(require 'compile)
(require 'imenu)
(require 'rx)
(require 'url-util)

(defgroup ripieno nil
  "Arrangements as plain text."
  :group 'languages)

(defcustom ripieno-program "ripieno"
  "The compiler: a name on the search path, or a whole path."
  :type 'string)

(defcustom ripieno-indent 2
  "Columns by which lines inside a block are indented."
  :type 'natnum
  :safe #'natnump)

(defconst ripieno--declarations
  '("use" "piece" "form" "harmony" "dynamics" "voice" "lyrics" "instrument" "ensemble" "scoring" "layout"))

(defconst ripieno--verbs
  '("plays" "doubles" "sustains" "realises" "signals" "highlights" "writes" "rests" "takes"
    "play" "double" "sustain" "realise" "signal" "highlight" "write" "take"))

(defconst ripieno--words
  '("subtitle" "composer" "arranger" "licence" "revision"
    "movement" "attacca" "marks" "through" "afresh"
    "metre" "key" "major" "minor" "tempo" "at" "mark" "pick-up" "up-beat" "length" "repeat" "ending"
    "double-bar" "end" "beat" "verse" "times" "segno" "coda" "fine" "da" "dal" "capo" "al" "common" "cut"
    "like" "short" "compass" "custom" "strings" "written" "sounds" "clef" "treble" "tenor" "from"
    "extends" "era" "group" "without" "budget" "limits" "players" "player" "divisi" "crook" "in" "signature" "tuned"
    "joins" "as" "alto" "basso"
    "for" "keep" "allow" "on" "bars" "bar" "solo" "with" "lyrics" "chords" "figures" "up-beat" "each" "chord" "off" "the" "broken" "entries" "cadences"
    "phrases" "peaks"
    "score" "parts" "paper" "landscape" "staff" "mm" "hide" "empty" "break" "turn" "before" "nudge"
    "up" "down" "left" "right"
    "seconds" "second" "lines" "of"
    "rest" "x" "grace" "crushed"))

(defconst ripieno--directions
  '("ppp" "pp" "p" "mp" "mf" "f" "ff" "fff" "fp" "sf" "sfz" "cresc" "dim" "to"
    "pizz" "arco" "muted" "unmuted"))

(defconst ripieno--marks
  '("stacc" "staccatissimo" "tenuto" "accent" "marcato" "fermata" "trill" "mordent" "turn"
    "up-bow" "down-bow" "harmonic" "stopped" "open" "breath" "arpeggio" "tremolo"))

(defconst ripieno--roles '("melody" "bass" "harmony" "rhythm" "highlight"))

(defun ripieno--one-of (words)
  "A regular expression for one of WORDS, whole."
  (concat "\\_<" (regexp-opt words t) "\\_>"))

(defconst ripieno--head
  (concat "^[ \t]*" (regexp-opt ripieno--declarations t) "\\_>")
  "The keyword of a declaration at the head of its line.")

(defconst ripieno--value (rx (group symbol-start (+ digit) "/" (+ digit) (** 0 3 "."))))

(defconst ripieno--pitch
  (rx symbol-start
      (group (any "A-G") (? (or "##" "#" "bb" "b" "♯♯" "♯" "♭♭" "♭" "𝄪" "𝄫" "♮")) (? digit))
      symbol-end))

(defconst ripieno-font-lock-keywords
  `((,ripieno--head 1 font-lock-keyword-face)
    ;; Names where they are given, and where they are meant.
    (,(rx symbol-start (or "voice" "instrument" "like" "ensemble" "scoring" "extends" "group" "joins" "keep" "for")
          (? (+ blank) "lines" (+ blank) "of") (+ blank) (group lower (* (or alnum "-"))))
     1 font-lock-function-name-face)
    (,(rx symbol-start (or "plays" "doubles" "signals" "realises" "play" "double" "signal" "realise") (+ blank)
          (group lower (* (or alnum "-")) (? "." (+ digit))))
     1 font-lock-variable-name-face)
    (,(concat "\\_<as[ \t]+" (regexp-opt ripieno--roles t) "\\_>") 1 font-lock-type-face)
    (,(rx symbol-start (or "allow" "limits") (+ blank) (group (+ (any lower "-/")))) 1 font-lock-constant-face)
    ;; The paper and the sign of a layout.
    (,(rx symbol-start (or "paper" "nudge") (+ blank) (group (+ (or alnum "-")))) 1 font-lock-constant-face)
    (,(ripieno--one-of ripieno--verbs) 1 font-lock-builtin-face)
    (,(ripieno--one-of ripieno--words) 1 font-lock-keyword-face)
    ;; Signs in brackets, and dynamics after `at' or in `dynamics'.
    (,(ripieno--one-of ripieno--marks) 1 font-lock-preprocessor-face)
    (,(ripieno--one-of ripieno--directions) 1 font-lock-preprocessor-face)
    (,(ripieno--one-of '("8va" "8vb" "15ma" "15mb")) 1 font-lock-preprocessor-face)
    ;; Music
    (,(rx symbol-start (group (+ digit) ":" (+ digit)) (* blank) "(") 1 font-lock-constant-face)
    (,(rx symbol-start (group (+ digit) ":")) 1 font-lock-comment-delimiter-face)
    (,ripieno--value 1 font-lock-type-face)
    (,ripieno--pitch 1 font-lock-constant-face)
    (,(rx symbol-start (group (any "A-G") (+ (not (any blank "\n|{}")))))
     1 font-lock-constant-face)
    ("|" 0 font-lock-comment-delimiter-face))
  "What is highlighted; earlier lines win.")

(defvar ripieno-mode-syntax-table
  (let ((table (make-syntax-table)))
    (modify-syntax-entry ?/ ". 12" table)
    (modify-syntax-entry ?\n ">" table)
    ;; A string ends on its line; `ripieno--propertize' finds the pairs.
    (modify-syntax-entry ?\" "." table)
    (modify-syntax-entry ?- "_" table)
    (dolist (sign '(?# ?♯ ?♭ ?♮ ?𝄪 ?𝄫))
      (modify-syntax-entry sign "_" table))
    (dolist (sign '(?& ?= ?| ?, ?. ?: ?%))
      (modify-syntax-entry sign "." table))
    table)
  "Syntax of a Ripieno source.")

(defconst ripieno--propertize
  (syntax-propertize-rules ("\\(\"\\)[^\"\n]*\\(\"\\)" (1 "\"") (2 "\""))))

(defconst ripieno--opens ".*{[ \t]*\\(?://.*\\)?$"
  "A line that opens a block.
A slur begins with a brace too, but no line ends with one.")

(defun ripieno--digits ()
  "Digits of the number of the bar that begins on this line, or 0."
  (save-excursion
    (beginning-of-line)
    (if (looking-at "[ \t]*\\([0-9]+\\):")
        (let ((digits (- (match-end 1) (match-beginning 1))))
          (goto-char (match-end 0))
          ;; Not the beginning of a tuplet.
          (if (looking-at "[0-9]+(") 0 digits))
      0)))

(defun ripieno--room ()
  "Blanks before the number of a bar, so that all up to 999 end in one column."
  (let ((digits (ripieno--digits)))
    (if (zerop digits) 0 (max 0 (- 3 digits)))))

(defun ripieno-indent-line ()
  "Indent a line as `ripieno fmt' does.
One step inside a block, back where a brace closes it; numbers of bars end in
one column, and further lines of a bar begin where its music does."
  (interactive)
  (let ((column
         (save-excursion
           (back-to-indentation)
           (let* ((closes (eq (char-after) ?}))
                  (number (> (ripieno--digits) 0))
                  (room (ripieno--room))
                  (there nil)
                  (ended nil))
             (if (save-excursion (beginning-of-line) (looking-at ripieno--head))
                 0
               (setq there (re-search-backward "^[ \t]*[^ \t\n]" nil t))
               (setq ended (and there (looking-at ".*|[ \t]*\\(?://.*\\)?$")))
               ;; Behind a bar of several lines, its first one.
               (while (and there (or closes ended number) (zerop (ripieno--digits))
                           (not (looking-at ripieno--opens))
                           (not (looking-at "[ \t]*\\(?:}\\|//\\)")))
                 (setq there (re-search-backward "^[ \t]*[^ \t\n]" nil t)))
               (if (not there)
                   0
                 (max 0 (+ (- (current-indentation) (ripieno--room))
                           room
                           (if (looking-at ripieno--opens) ripieno-indent 0)
                           (cond (closes (- ripieno-indent))
                                 ((and (> (ripieno--digits) 0) (not number) (not ended)) 5)
                                 (t 0))))))))))
    (if (<= (current-column) (current-indentation))
        (indent-line-to column)
      (save-excursion (indent-line-to column)))))

;; file:line:column: severity[code]: message
(defconst ripieno--findings
  `((ripieno-error "^\\(.+\\):\\([0-9]+\\):\\([0-9]+\\): error\\[[a-z/-]+\\]: " 1 2 3 2)
    (ripieno-warning "^\\(.+\\):\\([0-9]+\\):\\([0-9]+\\): warning\\[[a-z/-]+\\]: " 1 2 3 1)
    (ripieno-advice "^\\(.+\\):\\([0-9]+\\):\\([0-9]+\\): advice\\[[a-z/-]+\\]: " 1 2 3 0)))

(dolist (finding ripieno--findings)
  (add-to-list 'compilation-error-regexp-alist (car finding))
  (setf (alist-get (car finding) compilation-error-regexp-alist-alist) (cdr finding)))

;;;###autoload
(define-derived-mode ripieno-mode prog-mode "Ripieno"
  "Major mode for Ripieno arrangements."
  (setq-local comment-start "// ")
  (setq-local comment-start-skip "//+[ \t]*")
  (setq-local comment-end "")
  (setq-local syntax-propertize-function ripieno--propertize)
  (setq-local font-lock-defaults '(ripieno-font-lock-keywords nil nil))
  (setq-local indent-line-function #'ripieno-indent-line)
  (setq-local indent-tabs-mode nil)
  (setq-local imenu-generic-expression
              (mapcar (lambda (kind)
                        (list (concat (capitalize kind) "s")
                              (concat "^" kind "[ \t]+\\([[:lower:]][[:alnum:]-]*\\)") 1))
                      '("voice" "instrument" "ensemble" "scoring")))
  (when buffer-file-name
    (setq-local compile-command
                (format "%s check --format short %s"
                        (shell-quote-argument ripieno-program)
                        (shell-quote-argument (file-name-nondirectory buffer-file-name))))))

;;;###autoload
(add-to-list 'auto-mode-alist '("\\.ripieno\\'" . ripieno-mode))

(with-eval-after-load 'eglot
  (defvar eglot-server-programs)
  (add-to-list 'eglot-server-programs
               `(ripieno-mode . ,(lambda (&rest _) (list ripieno-program "lsp")))))

(declare-function eglot-current-server "eglot")
(declare-function jsonrpc-request "jsonrpc")

(defun ripieno-show-bar (scoring bar)
  "Show BAR of SCORING as text; the language server must be running."
  (interactive "sScoring: \nnBar: ")
  (let* ((server (and (fboundp 'eglot-current-server) (eglot-current-server)))
         (uri (concat "file://" (url-hexify-string (expand-file-name buffer-file-name)
                                                   url-path-allowed-chars)))
         (text (if server
                   (jsonrpc-request server :workspace/executeCommand
                                    (list :command "ripieno.showBar"
                                          :arguments (vector (list :uri uri :scoring scoring :bar bar))))
                 (user-error "The language server is not running: M-x eglot"))))
    (unless (stringp text)
      (user-error "There is nothing to show"))
    (with-current-buffer (get-buffer-create "*Ripieno bar*")
      (let ((inhibit-read-only t))
        (erase-buffer)
        (insert text))
      (goto-char (point-min))
      (special-mode)
      (setq truncate-lines t)
      (display-buffer (current-buffer)))))

(provide 'ripieno-mode)
;;; ripieno-mode.el ends here
