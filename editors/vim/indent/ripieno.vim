" Indentation: one step inside a block; a `}` that stands first on its line closes it.

if exists('b:did_indent')
  finish
endif
let b:did_indent = 1

setlocal indentexpr=RipienoIndent(v:lnum) indentkeys=0},!^F,o,O
let b:undo_indent = 'setlocal indentexpr< indentkeys<'

if exists('*RipienoIndent')
  finish
endif

function RipienoIndent(line) abort
  let text = getline(a:line)
  if text =~# '^\s*\%(use\|piece\|form\|harmony\|dynamics\|voice\|ensemble\|scoring\)\%(\s\|$\)'
    return 0
  endif
  let before = prevnonblank(a:line - 1)
  if before == 0
    return 0
  endif
  let indent = indent(before)
  " A slur begins with `{` too, but no line ends with one.
  if getline(before) =~# '{\s*\%(//.*\)\?$'
    let indent += shiftwidth()
  endif
  if text =~# '^\s*}'
    let indent -= shiftwidth()
  endif
  return max([indent, 0])
endfunction
