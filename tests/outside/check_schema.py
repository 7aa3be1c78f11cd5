"""Every MusicXML file is valid.

Source: MusicXML 4.0 (W3C Music Notation Community Group, 2021), the schema of the specification as
it ships inside the package `musicxml`. Nothing is fetched.
"""

from importlib.resources import files

from lxml import etree

from outputs import Finding


def _schema():
    folder = files("musicxml") / "generate_classes"
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(_Beside())
    return etree.XMLSchema(etree.fromstring((folder / "musicxml_4_0.xsd").read_bytes(), parser))


# The schema refers by address to those of `xml:` and `xlink:`. What it uses of them is written out
# here after their recommendations (XML 1.0, 2.10 and 2.12; XLink 1.1), to work without a network.
XML = b"""<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema"
    targetNamespace="http://www.w3.org/XML/1998/namespace">
  <xs:attribute name="lang" type="xs:language"/>
  <xs:attribute name="space">
    <xs:simpleType>
      <xs:restriction base="xs:NCName">
        <xs:enumeration value="default"/>
        <xs:enumeration value="preserve"/>
      </xs:restriction>
    </xs:simpleType>
  </xs:attribute>
</xs:schema>"""
XLINK = b"""<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema"
    targetNamespace="http://www.w3.org/1999/xlink" xmlns="http://www.w3.org/1999/xlink">
  <xs:attribute name="href" type="xs:anyURI"/>
  <xs:attribute name="type" type="xs:string" fixed="simple"/>
  <xs:attribute name="role" type="xs:token"/>
  <xs:attribute name="title" type="xs:token"/>
  <xs:attribute name="show" type="xs:token"/>
  <xs:attribute name="actuate" type="xs:token"/>
</xs:schema>"""


class _Beside(etree.Resolver):
    def resolve(self, url, public_id, context):
        texts = {"xml.xsd": XML, "xlink.xsd": XLINK}
        text = texts.get(url.rsplit("/", 1)[-1])
        return text and self.resolve_string(text, context, base_url=url)


def check(scorings):
    schema = _schema()
    for scoring in scorings:
        finding = Finding(f"MusicXML 4.0 schema: {scoring.name}")
        for path in scoring.files("musicxml"):
            schema.validate(etree.parse(str(path)))
            errors = [f"{path.name}:{e.line}: {e.message}" for e in schema.error_log][:3]
            finding.expect(not errors, "; ".join(errors))
        yield finding
