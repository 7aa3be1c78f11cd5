" Compiler file: Ripieno
" :make fills the quickfix list with the findings of the file in front; :make other.ripieno with
" those of other files.

if exists('current_compiler')
  finish
endif
let current_compiler = 'ripieno'

let s:save_cpo = &cpo
set cpo&vim

if exists(':CompilerSet') != 2
  command -nargs=* CompilerSet setlocal <args>
endif

" `g:ripieno_path` names the compiler where it is not on the search path.
let s:compiler = escape(shellescape(get(g:, 'ripieno_path', 'ripieno')), ' \|"')
execute 'CompilerSet makeprg=' . s:compiler . '\ check\ --format\ short\ $*\ %:S'

" file:line:column: severity[code]: message, the column in characters. The message keeps the code,
" which `ripieno explain` tells more of. What is no finding, such as the summary, is left out.
CompilerSet errorformat=%f:%l:%v:\ %trror%m,
      \%f:%l:%v:\ %tarning%m,
      \%f:%l:%v:\ %m,
      \%-G%.%#

let &cpo = s:save_cpo
unlet s:save_cpo s:compiler
