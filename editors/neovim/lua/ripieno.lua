-- Starts `ripieno lsp` for buffers of the file type ripieno. For Neovim 0.7 and newer.
--
--   require('ripieno').setup()
--   require('ripieno').setup({ cmd = { '/somewhere/ripieno', 'lsp' }, on_attach = function(client, buffer) … end })

local M = {}

local options = { cmd = { 'ripieno', 'lsp' } }
-- The client of each folder.
local clients = {}
local warned = false

-- The folder of the project: the nearest one under version control, else that of the file.
local function root_of(buffer)
  local folder = vim.fn.fnamemodify(vim.api.nvim_buf_get_name(buffer), ':p:h')
  local git = vim.fn.finddir('.git', vim.fn.escape(folder, ' ,;') .. ';')
  return git ~= '' and vim.fn.fnamemodify(git, ':p:h:h') or folder
end

local function running(root)
  local id = clients[root]
  local client = id and vim.lsp.get_client_by_id(id)
  return client and not client.is_stopped() and id or nil
end

-- Starts the server for a buffer, or lets a running one of the same folder see it.
function M.start(buffer)
  buffer = (buffer == nil or buffer == 0) and vim.api.nvim_get_current_buf() or buffer
  if vim.fn.executable(options.cmd[1]) == 0 then
    if not warned then
      warned = true
      vim.notify('Ripieno: `' .. options.cmd[1] .. '` is not on the search path; see editors/neovim/README.md.', vim.log.levels.WARN)
    end
    return nil
  end
  local root = root_of(buffer)
  local id = running(root)
  if not id then
    local config = vim.tbl_extend('force', {
      name = 'ripieno',
      capabilities = vim.lsp.protocol.make_client_capabilities(),
    }, options)
    config.root_dir = root
    config.workspace_folders = { { uri = vim.uri_from_fname(root), name = root } }
    id = vim.lsp.start_client(config)
    clients[root] = id
  end
  if id then
    vim.lsp.buf_attach_client(buffer, id)
  end
  return id
end

local function buffers()
  return vim.tbl_filter(function(buffer)
    return vim.api.nvim_buf_is_loaded(buffer) and vim.bo[buffer].filetype == 'ripieno'
  end, vim.api.nvim_list_bufs())
end

-- Stops all servers and starts them again, for example after a new version was installed.
function M.restart()
  for _, id in pairs(clients) do
    vim.lsp.stop_client(id, true)
  end
  clients = {}
  vim.defer_fn(function()
    vim.tbl_map(M.start, buffers())
  end, 200)
end

-- Shows a bar of a scoring as text, in a window of its own.
function M.show_bar(scoring, bar)
  local id = running(root_of(0))
  if not id then
    vim.notify('Ripieno: the language server is not running.', vim.log.levels.WARN)
    return
  end
  local request = { uri = vim.uri_from_bufnr(0), scoring = scoring, bar = tonumber(bar) }
  local params = { command = 'ripieno.showBar', arguments = { request } }
  vim.lsp.get_client_by_id(id).request('workspace/executeCommand', params, function(problem, text)
    if problem or type(text) ~= 'string' then
      vim.notify('Ripieno: ' .. (problem and problem.message or 'there is nothing to show'), vim.log.levels.WARN)
      return
    end
    vim.cmd('botright new')
    local shown = vim.api.nvim_get_current_buf()
    vim.api.nvim_buf_set_lines(shown, 0, -1, false, vim.split(text, '\n'))
    vim.bo[shown].buftype, vim.bo[shown].bufhidden, vim.bo[shown].modifiable = 'nofile', 'wipe', false
    vim.wo.wrap = false
  end, 0)
end

-- Takes options of `vim.lsp.start_client` (`cmd`, `on_attach`, `settings` …) and starts servers from
-- now on.
function M.setup(given)
  options = vim.tbl_extend('force', options, given or {})
  local group = vim.api.nvim_create_augroup('ripieno', { clear = true })
  vim.api.nvim_create_autocmd('FileType', {
    group = group,
    pattern = 'ripieno',
    callback = function(event)
      M.start(event.buf)
    end,
  })
  vim.api.nvim_create_user_command('RipienoRestart', function()
    M.restart()
  end, { desc = 'Restart the Ripieno language server' })
  vim.api.nvim_create_user_command('RipienoShowBar', function(call)
    M.show_bar(call.fargs[1], call.fargs[2])
  end, { nargs = '+', desc = 'Show a bar of a scoring as text: RipienoShowBar SCORING BAR' })
  vim.tbl_map(M.start, buffers())
end

return M
