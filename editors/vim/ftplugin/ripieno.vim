" Filetype plug-in: Ripieno

if exists('b:did_ftplugin')
  finish
endif
let b:did_ftplugin = 1

setlocal comments=:// commentstring=//\ %s
setlocal formatoptions-=t formatoptions+=croql
setlocal expandtab shiftwidth=2 softtabstop=2
setlocal iskeyword=@,48-57,_,-,192-255
setlocal suffixesadd=.ripieno
setlocal include=^\\s*use\\s\\+\"\\zs[^\"]\\+
setlocal define=^\\s*\\%(voice\\\|instrument\\\|ensemble\\\|scoring\\\|group\\)\\s
setlocal foldmethod=indent nofoldenable

compiler ripieno

let b:undo_ftplugin = 'setlocal comments< commentstring< formatoptions< expandtab< shiftwidth<'
      \ . ' softtabstop< iskeyword< suffixesadd< include< define< foldmethod< foldenable<'
      \ . ' makeprg< errorformat<'

" ]] and [[ go to the next declaration and the one before.
nnoremap <silent> <buffer> ]] :<C-u>call search('^\%(use\<Bar>piece\<Bar>form\<Bar>harmony\<Bar>dynamics\<Bar>voice\<Bar>instrument\<Bar>ensemble\<Bar>scoring\<Bar>lyrics\<Bar>layout\)\>', 'sW')<CR>
nnoremap <silent> <buffer> [[ :<C-u>call search('^\%(use\<Bar>piece\<Bar>form\<Bar>harmony\<Bar>dynamics\<Bar>voice\<Bar>instrument\<Bar>ensemble\<Bar>scoring\<Bar>lyrics\<Bar>layout\)\>', 'bsW')<CR>
let b:undo_ftplugin .= '| silent! nunmap <buffer> ]]| silent! nunmap <buffer> [['
