" Indentation: one step inside a block; a `}` that stands first on its line closes it. Numbers of
" bars end in one column, and further lines of a bar begin where its music does, as `ripieno fmt`
" has it.

if exists('b:did_indent')
  finish
endif
let b:did_indent = 1

setlocal indentexpr=RipienoIndent(v:lnum) indentkeys=0},!^F,o,O
let b:undo_indent = 'setlocal indentexpr< indentkeys<'

if exists('*RipienoIndent')
  finish
endif

" Digits of the number of the bar that begins on a line; 0 where none does.
function s:Digits(line) abort
  return strlen(matchstr(getline(a:line), '^\s*\zs\d\+\ze:\%(\d\+(\)\@!'))
endfunction

" Blanks before a number, so that all up to 999 end in one column.
function s:Room(line) abort
  let digits = s:Digits(a:line)
  return digits ? max([3 - digits, 0]) : 0
endfunction

function RipienoIndent(line) abort
  let text = getline(a:line)
  if text =~# '^\s*\%(use\|piece\|form\|harmony\|dynamics\|voice\|instrument\|ensemble\|scoring\|lyrics\|layout\)\%(\s\|$\)'
    return 0
  endif
  let before = prevnonblank(a:line - 1)
  let closes = text =~# '^\s*}'
  let ended = getline(before) =~# '|\s*\%(//.*\)\?$'
  if closes || ended || s:Digits(a:line)
    " Behind a bar of several lines, its first one.
    while before > 0 && !s:Digits(before) && getline(before) !~# '{\s*\%(//.*\)\?$\|^\s*\%(}\|//\)'
      let before = prevnonblank(before - 1)
    endwhile
  endif
  if before == 0
    return 0
  endif
  let indent = indent(before) - s:Room(before) + s:Room(a:line)
  " A slur begins with `{` too, but no line ends with one.
  if getline(before) =~# '{\s*\%(//.*\)\?$'
    let indent += shiftwidth()
  endif
  if closes
    let indent -= shiftwidth()
  elseif s:Digits(before) && !s:Digits(a:line) && !ended
    let indent += 5
  endif
  return max([indent, 0])
endfunction
