-- Neovim as a user of the language server: findings, a fix, a rename, formatting, saving.
--
--   nvim --headless -u NONE -i NONE -n -c 'luafile neovim.lua'
--
-- RIPIENO is the compiler, FOLDER holds broken.ripieno and forces.ripieno. Prints one line for each
-- thing tried: `ok NAME` or `FAILED NAME: WHY`.

local folder, program = os.getenv('FOLDER'), os.getenv('RIPIENO')
local lines = {}

local function say(name, why)
  table.insert(lines, why and ('FAILED ' .. name .. ': ' .. why) or ('ok ' .. name))
end

local function finish()
  io.stdout:write(table.concat(lines, '\n') .. '\n')
  vim.cmd('qall!')
end

local function run()
  vim.cmd('edit ' .. vim.fn.fnameescape(folder .. '/broken.ripieno'))
  local buffer = vim.api.nvim_get_current_buf()
  local id = vim.lsp.start_client({
    name = 'ripieno',
    cmd = { program, 'lsp' },
    root_dir = folder,
    workspace_folders = { { uri = vim.uri_from_fname(folder), name = folder } },
    capabilities = vim.lsp.protocol.make_client_capabilities(),
  })
  if not id then
    return say('the server starts', 'it does not')
  end
  vim.lsp.buf_attach_client(buffer, id)
  local client
  vim.wait(20000, function()
    client = vim.lsp.get_client_by_id(id)
    return client ~= nil and client.initialized == true
  end, 20)
  say('the server starts', not (client and client.initialized) and 'it does not answer' or nil)

  local function found()
    local found = {}
    for _, finding in ipairs(vim.diagnostic.get(buffer)) do
      local code = finding.user_data and finding.user_data.lsp and finding.user_data.lsp.code
      table.insert(found, (finding.lnum + 1) .. ' ' .. tostring(code or finding.code))
    end
    table.sort(found)
    return table.concat(found, ', ')
  end
  local function becomes(wanted)
    vim.wait(20000, function() return found() == wanted end, 20)
    return found() ~= wanted and ('“' .. found() .. '” and not “' .. wanted .. '”') or nil
  end
  local function ask(method, params)
    local answers = vim.lsp.buf_request_sync(buffer, method, params, 20000)
    local answer = answers and answers[id]
    return answer and answer.result, answer and answer.error
  end
  local function line_of(text)
    for number, line in ipairs(vim.api.nvim_buf_get_lines(buffer, 0, -1, false)) do
      local column = line:find(text, 1, true)
      if column then
        return number, column - 1
      end
    end
  end
  local function position(text)
    local line, column = line_of(text)
    vim.api.nvim_win_set_cursor(0, { line, column })
    return vim.lsp.util.make_position_params(0, client.offset_encoding)
  end

  local wrong = line_of('palys')
  say('findings stand at their lines', becomes(wrong .. ' syntax/unexpected'))

  local params = position('palys')
  local range = { start = params.position, ['end'] = params.position }
  local actions = ask('textDocument/codeAction', {
    textDocument = params.textDocument, range = range, context = { diagnostics = {} },
  })
  local fix
  for _, action in ipairs(actions or {}) do
    fix = fix or (action.kind == 'quickfix' and action.edit and action)
  end
  if not fix then
    return say('a fix is applied', 'none is offered')
  end
  vim.lsp.util.apply_workspace_edit(fix.edit, client.offset_encoding)
  say('a fix is applied', line_of('palys') and 'the mistake is still there' or becomes(''))

  params = position('upper')
  params.newName = 'weir-tune'
  local edit, problem = ask('textDocument/rename', params)
  if not edit then
    return say('a voice is renamed', vim.inspect(problem))
  end
  vim.lsp.util.apply_workspace_edit(edit, client.offset_encoding)
  say('a voice is renamed', line_of('upper') and 'the old name is still there' or becomes(''))

  local hover = ask('textDocument/hover', position('A5'))
  local told = hover and hover.contents and hover.contents.value or ''
  say('a note is told of', not told:find('Oboe', 1, true) and ('“' .. told .. '”') or nil)

  local offers = client.server_capabilities or client.resolved_capabilities or {}
  if offers.documentFormattingProvider then
    vim.api.nvim_buf_set_lines(buffer, -1, -1, false, { '', '', '' })
    local changes = ask('textDocument/formatting', {
      textDocument = { uri = vim.uri_from_bufnr(buffer) },
      options = { tabSize = 2, insertSpaces = true },
    })
    vim.lsp.util.apply_text_edits(changes or {}, buffer, client.offset_encoding)
    local last = vim.api.nvim_buf_get_lines(buffer, -2, -1, false)[1]
    say('the file is formatted', last == '' and 'it still ends in empty lines' or becomes(''))
  end
  vim.cmd('wall')
  vim.lsp.stop_client(id)
end

local fine, why = pcall(run)
if not fine then
  say('the editor does what it is told', tostring(why))
end
finish()
