" Syntax file: Ripieno
" Each kind of declaration is a region with the words of its own. A declaration that is not closed
" ends where the next one begins.

if exists('b:current_syntax')
  finish
endif

let s:save_cpo = &cpo
set cpo&vim

syntax case match
" A word may have a hyphen inside.
syntax iskeyword @,48-57,_,-,192-255
syntax sync minlines=400 maxlines=4000

syntax match  ripienoComment "//.*$" contains=@Spell,ripienoTodo
syntax keyword ripienoTodo contained TODO FIXME
syntax region ripienoString start=+"+ end=+"+ end=+$+ oneline contains=@Spell
syntax match  ripienoNumber "\<\d\+\>" contained
syntax match  ripienoRange  "\.\." contained
syntax match  ripienoValue  "\<\d\+/\d\+\.\{0,3}" contained
syntax match  ripienoPitch  "\<[A-G]\%(##\|#\|bb\|b\|♯♯\|♯\|♭♭\|♭\|𝄪\|𝄫\|♮\)\?\d\?\%([A-Za-z0-9'-]\)\@!" contained
syntax match  ripienoTechnique "\<\%(pizz\|arco\|muted\|unmuted\)\>" contained
syntax match  ripienoDynamic "\<\%(ppp\|pp\|p\|mp\|mf\|f\|ff\|fff\|fp\|sf\|sfz\)\>" contained
syntax match  ripienoOctaves "\<\%(8va\|8vb\|15ma\|15mb\)\>" contained
syntax match  ripienoUse "^\s*\zsuse\>"
syntax cluster ripienoBasic contains=ripienoComment,ripienoString,ripienoNumber,ripienoRange

" Music

syntax match  ripienoBarNumber "\<\d\+:\%(\d\+(\)\@!" contained
syntax match  ripienoBarLine "|" contained
syntax keyword ripienoMusicWord rest x grace crushed contained
syntax match  ripienoBars "\%(\<rest\s\+\)\@<=\d\+\>" contained
syntax match  ripienoTuplet "\<\d\+:\d\+\ze\s*(" contained
syntax match  ripienoJoin "[=&]" contained
syntax match  ripienoSlur "[{}]" contained
syntax region ripienoMarks matchgroup=ripienoBracket start="\%(\s\)\@1<!\[" end="\]" end="\ze|" oneline contained contains=ripienoMark,ripienoValue
syntax region ripienoDirection matchgroup=ripienoBracket start="\%(^\|\s\)\@1<=\[" end="\]" end="\ze|" oneline contained contains=ripienoDynamic,ripienoTechnique,ripienoHairpin,ripienoString
syntax match  ripienoMark "\<\%(stacc\|staccatissimo\|tenuto\|accent\|marcato\|fermata\|trill\|mordent\|turn\|up-bow\|down-bow\|harmonic\|stopped\|open\|breath\|arpeggio\|tremolo\)\>" contained
syntax keyword ripienoHairpin cresc dim to contained
syntax cluster ripienoMusic contains=ripienoComment,ripienoBarNumber,ripienoBarLine,ripienoMusicWord,ripienoBars,ripienoTuplet,ripienoJoin,ripienoSlur,ripienoMarks,ripienoDirection,ripienoValue,ripienoPitch

" Declarations. `}` closes bars where it stands first on a line or after a bar line; elsewhere it
" ends a slur.

syntax region ripienoPiece matchgroup=ripienoDeclaration start="^\s*\zspiece\>" end="}" end="\ze\n\s*\%(use\|piece\|form\|harmony\|dynamics\|voice\|lyrics\|instrument\|ensemble\|scoring\|layout\)\s" fold contains=@ripienoBasic,ripienoPieceWord
syntax keyword ripienoPieceWord subtitle composer arranger licence revision movement as attacca bars marks through afresh contained

syntax region ripienoForm matchgroup=ripienoDeclaration start="^\s*\zsform\>" end="}" end="\ze\n\s*\%(use\|piece\|form\|harmony\|dynamics\|voice\|lyrics\|instrument\|ensemble\|scoring\|layout\)\s" fold contains=@ripienoBasic,ripienoFormWord,ripienoValue,ripienoPitch
syntax match  ripienoFormWord "\<\%(metre\|key\|major\|minor\|tempo\|at\|mark\|pick-up\|up-beat\|length\|repeat\|times\|ending\|double-bar\|segno\|coda\|fine\|da\|dal\|capo\|al\|to\|common\|cut\|end\)\>" contained

syntax region ripienoLyrics matchgroup=ripienoDeclaration start="^\s*\zslyrics\>" end="}" end="\ze\n\s*\%(use\|piece\|form\|harmony\|dynamics\|voice\|lyrics\|instrument\|ensemble\|scoring\|layout\)\s" fold contains=ripienoComment,ripienoBarNumber,ripienoBarLine,ripienoLyricsWord,ripienoHold
syntax match  ripienoLyricsWord "\<\%(for\|verse\)\>\ze\s\+[a-z0-9-]\+.*{" contained
syntax match  ripienoHold "=" contained

syntax region ripienoHarmony matchgroup=ripienoDeclaration start="^\s*\zsharmony\>" end="}" end="\ze\n\s*\%(use\|piece\|form\|harmony\|dynamics\|voice\|lyrics\|instrument\|ensemble\|scoring\|layout\)\s" fold contains=ripienoComment,ripienoBarNumber,ripienoBarLine,ripienoValue,ripienoChord,ripienoLocalKey,ripienoChordRest,ripienoBars
syntax match  ripienoChord "\<[A-G][^ \t|{}]*" contained
syntax match  ripienoChordRest "\<rest\>" contained
syntax match  ripienoLocalKey "\<key\>\|\<\%(major\|minor\)\>" contained

syntax region ripienoDynamics matchgroup=ripienoDeclaration start="^\s*\zsdynamics\>" end="}" end="\ze\n\s*\%(use\|piece\|form\|harmony\|dynamics\|voice\|lyrics\|instrument\|ensemble\|scoring\|layout\)\s" fold contains=@ripienoBasic,ripienoDynamic,ripienoTechnique,ripienoHairpin,ripienoBeat
syntax keyword ripienoBeat beat contained

syntax region ripienoVoice matchgroup=ripienoDeclaration start="^\s*\zsvoice\>" end="^\s*}" end="\%(|\s*\)\@<=}" end="{\s*}" end="\ze\n\s*\%(use\|piece\|form\|harmony\|dynamics\|voice\|lyrics\|instrument\|ensemble\|scoring\|layout\)\s" fold contains=@ripienoMusic,ripienoName
syntax match  ripienoName "\%(\<\%(voice\|instrument\|like\|ensemble\|extends\|scoring\|for\|keep\)\s\+\)\@<=\l[[:alnum:]-]*" contained

syntax region ripienoInstrument matchgroup=ripienoDeclaration start="^\s*\zsinstrument\>" end="}" end="\ze\n\s*\%(use\|piece\|form\|harmony\|dynamics\|voice\|lyrics\|instrument\|ensemble\|scoring\|layout\)\s" fold contains=@ripienoBasic,ripienoInstrumentWord,ripienoPitch,ripienoName
syntax match  ripienoInstrumentWord "\<\%(like\|as\|short\|compass\|custom\|solo\|to\|strings\|written\|sounds\|clef\|treble\|alto\|tenor\|bass\|from\)\>" contained

syntax region ripienoEnsemble matchgroup=ripienoDeclaration start="^\s*\zsensemble\>" end="}" end="\ze\n\s*\%(use\|piece\|form\|harmony\|dynamics\|voice\|lyrics\|instrument\|ensemble\|scoring\|layout\)\s" fold contains=@ripienoBasic,ripienoEnsembleWord,ripienoPitch,ripienoOctaves,ripienoName,ripienoGroup,ripienoRule
syntax match  ripienoEnsembleWord "\<\%(extends\|era\|group\|without\|budget\|limits\|seconds\|second\|bars\|lines\|players\|player\|divisi\|crook\|in\|signature\|tuned\|joins\|as\)\>" contained
syntax match  ripienoEnsembleWord "\%(\<[A-G]\%(#\|b\|♯\|♭\)\?\s\+\)\@<=\%(alto\|basso\)\>" contained
syntax match  ripienoGroup "\%(\<\%(group\|joins\)\s\+\)\@<=\l[[:alnum:]-]*" contained

syntax region ripienoScoring matchgroup=ripienoDeclaration start="^\s*\zsscoring\>" end="}" end="\ze\n\s*\%(use\|piece\|form\|harmony\|dynamics\|voice\|lyrics\|instrument\|ensemble\|scoring\|layout\)\s" fold contains=@ripienoBasic,ripienoVerb,ripienoScoringWord,ripienoRoleOf,ripienoDynamicOf,ripienoTechnique,ripienoOctaves,ripienoPitch,ripienoPlayer,ripienoName,ripienoVoiceName,ripienoWritten,ripienoRule
syntax match  ripienoPlayer "^\s*\zs\l[[:alnum:]-]*\%(\.\d\+\)\?\%(\s*,\s*\l[[:alnum:]-]*\%(\.\d\+\)\?\)*" contained
syntax match  ripienoScoringWord "\<\%(for\|keep\|allow\|on\|bars\|bar\|as\|at\|solo\|with\|lyrics\|chords\|figures\|up-beat\|each\|chord\|beat\|off\|the\|broken\|tremolo\|entries\|cadences\|phrases\|peaks\|crook\|in\|tuned\)\>" contained
syntax match  ripienoScoringWord "\%(\<[A-G]\%(#\|b\|♯\|♭\)\?\s\+\)\@<=\%(alto\|basso\)\>" contained
syntax keyword ripienoVerb plays doubles sustains realises signals highlights writes rests takes contained
syntax keyword ripienoVerb play double sustain realise signal write rest take contained
syntax match  ripienoVerb "\%(\<as\s\+\)\@<!\<highlight\>" contained
syntax match  ripienoVoiceName "\%(\<\%(plays\=\|doubles\=\|signals\=\|realises\=\)\s\+\)\@<=\l[[:alnum:]-]*\%(\.\d\+\)\?" contained
syntax match  ripienoRoleOf "\%(\<as\s\+\)\@<=\%(melody\|bass\|harmony\|rhythm\|highlight\)\>" contained
syntax match  ripienoDynamicOf "\%(\<at\s\+\)\@<=\%(ppp\|pp\|p\|mp\|mf\|f\|ff\|fff\|fp\|sf\|sfz\)\>" contained
syntax match  ripienoScoringWord "\%(\<keep\s\+\)\@<=lines\s\+of\>" contained
syntax match  ripienoRule "\%(\<\%(allow\|limits\)\s\+\)\@<=\l[[:lower:]/-]*" contained
" The notes of `writes`: the brace of the scoring itself stands behind `for` and a name.
syntax region ripienoWritten matchgroup=ripienoBrace start="\%(\<writes\=\>[^{]*\)\@<={" end="^\s*}" end="\%(|\s*\)\@<=}" end="\ze\n\s*\%(use\|piece\|form\|harmony\|dynamics\|voice\|lyrics\|instrument\|ensemble\|scoring\|layout\)\s" end="\ze\n\s*\%(allow\s\+\l\|\l[[:alnum:].-]*\%(\s*,\s*\l[[:alnum:].-]*\)*\s\+\%(plays\=\|doubles\=\|sustains\=\|realises\=\|signals\=\|highlights\=\|writes\=\|rests\=\|takes\=\)\>\)" contained contains=@ripienoMusic

syntax region ripienoLayout matchgroup=ripienoDeclaration start="^\s*\zslayout\>" end="}" end="\ze\n\s*\%(use\|piece\|form\|harmony\|dynamics\|voice\|lyrics\|instrument\|ensemble\|scoring\|layout\)\s" fold contains=@ripienoBasic,ripienoPlayer,ripienoLayoutWord
syntax match  ripienoLayoutWord "\<\%(for\|score\|parts\|paper\|landscape\|staff\|mm\|hide\|empty\|break\|turn\|before\|nudge\|of\|bar\|beat\|up\|down\|left\|right\)\>" contained

highlight default link ripienoComment      Comment
highlight default link ripienoTodo         Todo
highlight default link ripienoString       String
highlight default link ripienoUse          Include
highlight default link ripienoDeclaration  Structure
highlight default link ripienoName         Identifier
highlight default link ripienoGroup        Identifier
highlight default link ripienoVoiceName    Identifier
highlight default link ripienoPlayer       Function
highlight default link ripienoNumber       Number
highlight default link ripienoRange        Operator
highlight default link ripienoValue        Number
highlight default link ripienoTuplet       Number
highlight default link ripienoPitch        Constant
highlight default link ripienoLyricsWord Keyword
highlight default link ripienoHold Operator
highlight default link ripienoLayoutWord Keyword
highlight default link ripienoChord        Constant
highlight default link ripienoLocalKey     Keyword
highlight default link ripienoChordRest    Keyword
highlight default link ripienoBarNumber    Label
highlight default link ripienoBars         Number
highlight default link ripienoBarLine      Delimiter
highlight default link ripienoMusicWord    Keyword
highlight default link ripienoJoin         Operator
highlight default link ripienoSlur         Delimiter
highlight default link ripienoBracket      Delimiter
highlight default link ripienoBrace        Delimiter
highlight default link ripienoMark         Special
highlight default link ripienoHairpin      PreProc
highlight default link ripienoDynamic      PreProc
highlight default link ripienoDynamicOf    PreProc
highlight default link ripienoTechnique    PreProc
highlight default link ripienoOctaves      Operator
highlight default link ripienoPieceWord    Keyword
highlight default link ripienoFormWord     Keyword
highlight default link ripienoBeat         Keyword
highlight default link ripienoEnsembleWord Keyword
highlight default link ripienoScoringWord  Keyword
highlight default link ripienoVerb         Statement
highlight default link ripienoRoleOf       Type
highlight default link ripienoRule         Special

let b:current_syntax = 'ripieno'

let &cpo = s:save_cpo
unlet s:save_cpo
