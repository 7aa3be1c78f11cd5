"""The language server seen by an independent client.

Every answer is read into the types of `lsprotocol`, which come from the protocol's own description,
and `pytest-lsp` holds it against what the client said that it can take; what does not fit is a
failure. RIPIENO is the compiler.
"""

import os
import pathlib

import pytest
import pytest_lsp
from lsprotocol import types
from pytest_lsp import (
    ClientServerConfig, LanguageClient, client_capabilities, make_test_lsp_client,
)

pytestmark = pytest.mark.filterwarnings("error::pytest_lsp.LspSpecificationWarning")

CLIENTS = ["visual_studio_code", "neovim", "emacs"]

FORCES = "ensemble duo {\n  era 1770\n  oboe 2\n  horn crook D\n}\n"
PIECE = """\
use "forces.ripieno"

// 🎻 The tune first.
// Then the rest.
piece "Weir" { licence "CC0-1.0" }
form {
  1  metre 4/4, key D minor, tempo 1/4 at 96
  2  end
}
voice upper {
  1: 1/4 D5 E F G |
  1/1 A5 |
}
scoring small for duo {
  oboe  plays upper as melody
  horn  writes as harmony {
    1: 1/1 D4 |
  }
}
"""


def make_client():
    """The client of `pytest-lsp`; it also lets the server ask to be told of changed files."""
    client = make_test_lsp_client()
    client.feature(types.CLIENT_REGISTER_CAPABILITY)(lambda params: None)
    client.feature(types.WORKSPACE_INLAY_HINT_REFRESH)(lambda params: None)
    return client


@pytest_lsp.fixture(
    params=CLIENTS,
    config=ClientServerConfig(
        server_command=[os.environ["RIPIENO"], "lsp"], client_factory=make_client
    ),
)
async def client(request, lsp_client: LanguageClient, tmp_path_factory):
    folder = tmp_path_factory.mktemp("weir")
    (folder / "forces.ripieno").write_text(FORCES, encoding="utf-8")
    (folder / "weir.ripieno").write_text(PIECE, encoding="utf-8")
    offered = await lsp_client.initialize_session(
        types.InitializeParams(
            capabilities=client_capabilities(request.param),
            workspace_folders=[types.WorkspaceFolder(uri=folder.as_uri(), name="weir")],
        )
    )
    lsp_client.folder, lsp_client.offered = folder, offered.capabilities
    yield
    await lsp_client.shutdown_session()


def at(text, word, into=0):
    """The position of a word, in UTF-16, which all three clients count in."""
    offset = text.index(word) + into
    line = text[:offset].count("\n")
    before = text[text.rfind("\n", 0, offset) + 1 : offset]
    return types.Position(line=line, character=len(before.encode("utf-16-le")) // 2)


async def opened(client, name="weir.ripieno", text=PIECE):
    uri = (client.folder / name).as_uri()
    item = types.TextDocumentItem(uri=uri, language_id="ripieno", version=1, text=text)
    client.text_document_did_open(types.DidOpenTextDocumentParams(text_document=item))
    while uri not in client.diagnostics:
        await client.wait_for_notification("textDocument/publishDiagnostics")
    return types.TextDocumentIdentifier(uri=uri)


async def changed(client, document, version, place, text):
    client.diagnostics.pop(document.uri, None)
    client.text_document_did_change(
        types.DidChangeTextDocumentParams(
            text_document=types.VersionedTextDocumentIdentifier(uri=document.uri, version=version),
            content_changes=[types.TextDocumentContentChangePartial(range=place, text=text)],
        )
    )
    while document.uri not in client.diagnostics:
        await client.wait_for_notification("textDocument/publishDiagnostics")
    return client.diagnostics[document.uri]


@pytest.mark.asyncio
async def test_findings_and_fixes(client: LanguageClient):
    document = await opened(client)
    assert not client.diagnostics[document.uri]
    place = types.Range(start=at(PIECE, "plays"), end=at(PIECE, "plays", 5))
    found = await changed(client, document, 2, place, "palys")
    assert [(one.code, one.range.start.line) for one in found] == [("syntax/unexpected", place.start.line)]
    assert pathlib.Path(found[0].code_description.href.removeprefix("file://")).is_file()
    actions = await client.text_document_code_action_async(
        types.CodeActionParams(document, found[0].range, types.CodeActionContext(diagnostics=found))
    )
    edits = [edit for action in actions for edit in (action.edit.changes or {}).get(document.uri, [])]
    assert "plays" in [edit.new_text for edit in edits]
    assert not await changed(client, document, 3, found[0].range, "plays")


@pytest.mark.asyncio
async def test_hover_definition_references_rename(client: LanguageClient):
    document = await opened(client)
    hover = await client.text_document_hover_async(types.HoverParams(document, at(PIECE, "A5")))
    assert "Oboe 1" in hover.contents.value
    assert hover.range.start == at(PIECE, "A5")
    target = await client.text_document_definition_async(
        types.DefinitionParams(document, at(PIECE, "oboe"))
    )
    assert [place.uri for place in target] == [(client.folder / "forces.ripieno").as_uri()]
    found = await client.text_document_references_async(
        types.ReferenceParams(types.ReferenceContext(True), document, at(PIECE, "upper {"))
    )
    assert [place.range.start for place in found] == [at(PIECE, "upper {"), at(PIECE, "upper as")]
    ready = await client.text_document_prepare_rename_async(
        types.PrepareRenameParams(document, at(PIECE, "duo"))
    )
    assert ready.placeholder == "duo"
    edit = await client.text_document_rename_async(
        types.RenameParams(document, at(PIECE, "duo"), "few")
    )
    assert {uri.rsplit("/", 1)[1]: len(edits) for uri, edits in edit.changes.items()} == {
        "forces.ripieno": 1, "weir.ripieno": 1,
    }
    with pytest.raises(Exception, match="instrument"):
        await client.text_document_rename_async(types.RenameParams(document, at(PIECE, "oboe"), "flute"))
    lights = await client.text_document_document_highlight_async(
        types.DocumentHighlightParams(document, at(PIECE, "upper {"))
    )
    assert len(lights) == 2


@pytest.mark.asyncio
async def test_completion_and_signature(client: LanguageClient):
    document = await opened(client)
    text = PIECE.replace("horn  writes", "horn  plays \n  horn  writes")
    whole = types.Range(types.Position(0, 0), types.Position(99, 0))
    await changed(client, document, 2, whole, text)
    place = at(text, "horn  plays ", 12)
    found = await client.text_document_completion_async(types.CompletionParams(document, place))
    assert [item.label for item in found.items] == ["upper"]
    help_ = await client.text_document_signature_help_async(types.SignatureHelpParams(document, place))
    one = help_.signatures[0]
    start, end = one.parameters[help_.active_parameter].label
    assert one.label[start:end] == "VOICE"


@pytest.mark.asyncio
async def test_symbols_folds_selections(client: LanguageClient):
    document = await opened(client)
    outline = await client.text_document_document_symbol_async(types.DocumentSymbolParams(document))
    assert {"Weir", "upper", "small"} <= {symbol.name for symbol in outline}
    everywhere = await client.workspace_symbol_async(types.WorkspaceSymbolParams("duo"))
    assert [symbol.location.uri.rsplit("/", 1)[1] for symbol in everywhere] == ["forces.ripieno"]
    folds = await client.text_document_folding_range_async(types.FoldingRangeParams(document))
    assert (2, 3) in [(fold.start_line, fold.end_line) for fold in folds]
    chosen = await client.text_document_selection_range_async(
        types.SelectionRangeParams(document, [at(PIECE, "E F")])
    )
    steps, step = [], chosen[0]
    while step:
        steps.append(step.range)
        step = step.parent
    assert steps[0].start == at(PIECE, "E F") and steps[-1].start == types.Position(0, 0)
    for inner, outer in zip(steps, steps[1:]):
        assert (outer.start.line, outer.start.character) <= (inner.start.line, inner.start.character)
        assert (inner.end.line, inner.end.character) <= (outer.end.line, outer.end.character)


@pytest.mark.asyncio
async def test_tokens_hints_lenses_hierarchy(client: LanguageClient):
    document = await opened(client)
    tokens = await client.text_document_semantic_tokens_full_async(types.SemanticTokensParams(document))
    kinds = client.offered.semantic_tokens_provider.legend.token_types
    lines, line, column, words = PIECE.split("\n"), 0, 0, []
    for i in range(0, len(tokens.data), 5):
        down, right, length, kind, _ = tokens.data[i : i + 5]
        line, column = line + down, right if down else column + right
        units = lines[line].encode("utf-16-le")[2 * column : 2 * (column + length)]
        words.append((units.decode("utf-16-le"), kinds[kind]))
    assert ("// 🎻 The tune first.", "comment") in words
    assert ("upper", "variable") in words and ("plays", "keyword") in words
    whole = types.Range(types.Position(0, 0), types.Position(99, 0))
    hints = await client.text_document_inlay_hint_async(types.InlayHintParams(document, whole))
    assert {"2:", "C5"} <= {hint.label for hint in hints}
    lenses = await client.text_document_code_lens_async(types.CodeLensParams(document))
    assert [lens.command.title for lens in lenses] == ["played by oboe in small", "build small"]
    said = await client.workspace_execute_command_async(
        types.ExecuteCommandParams(lenses[0].command.command, lenses[0].command.arguments)
    )
    assert "oboe" in said
    bar = [{"uri": document.uri, "scoring": "small", "bar": 2}]
    shown = await client.workspace_execute_command_async(types.ExecuteCommandParams("ripieno.showBar", bar))
    assert "A5" in shown
    item = (await client.text_document_prepare_call_hierarchy_async(
        types.CallHierarchyPrepareParams(document, at(PIECE, "upper {"))
    ))[0]
    lines_ = await client.call_hierarchy_outgoing_calls_async(types.CallHierarchyOutgoingCallsParams(item))
    players = await client.call_hierarchy_outgoing_calls_async(
        types.CallHierarchyOutgoingCallsParams(lines_[0].to)
    )
    assert [call.to.name for call in players] == ["Oboe 1", "Oboe 2"]


@pytest.mark.asyncio
async def test_formatting(client: LanguageClient):
    text = PIECE.replace("  1: 1/4 D5", "1:    1/4 D5")
    document = await opened(client, text=text)
    options = types.FormattingOptions(tab_size=2, insert_spaces=True)
    whole = await client.text_document_formatting_async(
        types.DocumentFormattingParams(document, options)
    )
    lines = types.Range(at(text, "1:    1/4"), at(text, "F G |"))
    some = await client.text_document_range_formatting_async(
        types.DocumentRangeFormattingParams(document, lines, options)
    )
    typed = await client.text_document_on_type_formatting_async(
        types.DocumentOnTypeFormattingParams(document, at(text, "F G |", 5), "|", options)
    )
    assert some and typed and len(some) <= len(whole)
    line = at(text, "1:    1/4").line
    assert all(line - 1 <= edit.range.start.line <= line for edit in [*some, *typed])
