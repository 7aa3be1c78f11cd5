autocmd BufNewFile,BufRead *.ripieno setfiletype ripieno
