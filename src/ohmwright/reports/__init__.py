"""The papers of a finished run: certificate (PDF, HTML), CSV, digital certificate, label.

Events of a run become a `Certificate`, this becomes text, and each form only lays the text out.

Read in this order:

    text                    text and figures as they are printed
    run_parts               a run in its parts, each begun or resumed by somebody
    traceability_marks      what each value is traceable to
    verdict_grounds         which verdicts are by the readings alone
    run_remarks             comments, and what happened beside the results
    drift_remarks           outputs measured several times that trend
    stored_trims            whether the unit was told to keep the trims that were moved
    recomputed_text         which values nobody can compute once more
    unit_told               by whom the identity of the unit is told, where nobody read it
    issue                   number, approvals, amendments; laboratory, customer and receipt
    certificate             the data of a certificate
    measurand_text          what the values are, in words
    uncertainty_text        what their uncertainties hold and lack
    measuring_conditions    how a point was measured, in words
    part_texts              sentences about the parts: protections, interruptions, room
    details                 unit, work, procedure and analyzer
    result_tables           the tables of results, as text
    curves, curve_drawing   power curves as SVG
    risk_text               how probably a point was decided wrongly; k and coverage
    certificate_notes       what a certificate states, and what its words and figures mean
    certificate_text        the whole text of a certificate
    typesetting, own_pages  templates typeset by typst, and pages of the laboratory's own
    html_tables             tables of results as HTML
    pdf, html               the certificate in these forms
    table_paper             a paper of tables and pictures, as PDF and HTML
    csv_file                results for a spreadsheet
    dcc_elements            elements of a digital calibration certificate
    dcc_results, dcc        its results, and the whole document
    dcc_signature           its signature (XML-DSig)
    dcc_schema              its validation against a schema
    label                   the label for the unit

Design decisions, all in force:

1. One text for every form of a certificate.
   Why: PDF, HTML and digital certificate must not say different things.
   Decision: `certificate` gathers facts from events, `certificate_text` words them, and template
   and HTML only lay them out. Templates and style sheet are files in `templates/`; data reaches
   typst as JSON in `sys.inputs`, and nothing in it is evaluated. A laboratory may set pages of
   its own before the certificate, from the same text, whose keys `guide/certificates.md` lists.
   Rejected: wording in the templates.
   Held by: tests/reports/test_html.py, test_it_says_what_the_pdf_says.
2. No character of a name acts unseen, and none is dropped.
   Why: names come from files and imports of others.
   Decision: control characters and overrides of the writing direction show as their code, as in
   ‹U+202E› (`text.printable`). CSV puts an apostrophe before a sign that a spreadsheet would
   compute, also after a separator of another locale; figures are left bare.
   Rejected: removing such characters, which makes two names look alike.
   Held by: tests/reports/test_text.py, test_csv_file.py, test_pdf.py.
3. Fonts of our own dependencies come first.
   Why: equal records must give equal files on every computer.
   Decision: typst's own fonts and matplotlib's DejaVu, then those of the computer for characters
   that these lack, then the code of the character. PDFs are PDF/A-3b, dated by the run.
   Rejected: fonts of the system first.
   Held by: test_pdf.py, test_the_same_record_is_the_same_file, and
   test_a_character_without_a_font_shows_its_code.
4. The attachment of a PDF is what `record export` writes.
   Why: a reader can import it and verify hashes and signature without the store it came from.
   Decision: the export of the run is attached as record.jsonl.
   Rejected: a format of its own.
   Held by: tests/cli/test_certificate.py,
   test_every_one_and_the_record_in_the_pdf_can_be_imported.
5. The digital certificate is of DCC 3.3.0, with D-SI 2.2.1.
   Why: an open schema that other programs read.
   Decision: what it writes was held against the public text of both, element by element: names,
   order, number, attributes, enumerations and patterns. All types that it uses were transcribed
   into an XSD outside the repository, and files of a simulated, an attended and a bare run, with
   undecided and unmeasured points and with none, were valid against it. PTB's parser dsiunits
   3.1.3 knows every unit. Not checked: PTB's own file as served, which is in no package, and its
   good-practice refTypes, of which none is written. A point without a value is a quantity with
   `noQuantity`, so that its conformity is machine-readable. Undecided is none of the schema's six
   words for conformity, four of which it does not explain.
   Rejected: shipping a schema; `certificate --dcc F --schema dcc.xsd` is for whoever has it.
   Held by: tests/reports/test_dcc.py, against the Schematron rules that dcclib ships.
6. What a value is traceable to is stated for that value.
   Why: a run may have parts with another certificate, or none.
   Decision: one line speaks for all values only where it is true of all; else the most frequent
   bears no mark, the others a letter, each named with the steps that it holds for, and a figure
   where the run has several parts. A crest factor and
   a contact resistance rest on no certificate. Records that do not state it are read by the
   lines of their budgets (`run_parts`); what these do not show is `not recorded`.
   What no analyzer certificate covers is by the readings alone: said as large as the verdict,
   without P, TUR and risk, in the digital certificate without conformity and coverage. Without any
   covered value the paper is a report of measurement, bears no accreditation and no logo.
   Rejected: one line for the run; PASS with its ground in small type.
   Held by: tests/reports/test_run_parts.py, test_verdict_grounds.py.
7. Papers name a seal that nobody vouches for.
   Why: anybody can make a key, and a forged record is whole in itself.
   Decision: where a key that sealed the record, or signed an approval, amendment or void, is not
   trusted on the computer that makes the paper, PDF, HTML and digital certificate say so first
   among the notes. With a trusted key
   nothing is added, so the bytes stay the same.
   Rejected: a warning at the terminal alone, which the reader of the paper does not see; refusing
   to make papers of records from another laboratory.
   Held by: tests/cli/test_certificate.py,
   test_a_seal_by_an_unknown_key_is_said_and_stands_on_the_papers.
8. What papers state beside the record becomes part of it by an approval or an amendment.
   Why: years later, a paper must be made again from the record alone.
   Decision: laboratory, customer, place and receipt come from a file or from whoever makes the
   paper, which says so, until an addendum keeps them; from then on nothing else is printed. The
   number of a certificate is the run's, with -2 and so on for each amendment. Where one key
   sealed and approved, the paper names who signed with it. Until approval, a paper is a draft,
   without accreditation, logo or the laboratory's statements: these vouch for what was released.
   Rejected: a date of issue from the clock, which would make each printing another file.
   Held by: tests/reports/test_issue.py, tests/cli/test_addenda.py.
9. A digital certificate is signed by signxml with the laboratory's X.509 certificate.
   Why: its readers verify with programs for XML signatures, which know X.509 and not our keys.
   Decision: RSA or ECDSA with SHA-256, enveloped, over the whole document. Files signed in this
   way were accepted, and altered ones refused, by libxmlsec1 (python-xmlsec 1.3.17) and by Java 17.
   Rejected: Ed25519 with the operator's key (RFC 9231): signxml, by which dcclib verifies, does
   not take it.
   Held by: tests/reports/test_dcc_signature.py, which verifies without signxml.
10. A number of a certificate is one paper.
   Why: two papers of one number that differ make both worthless.
   Decision: an approval is followed by an addendum `issued`, with the SHA-256 of text, layout, PDF
   and HTML, the version and the note on keys. All that a paper states is in the record by then, the
   logo too; the record that is attached ends before that addendum. A later printing whose bytes
   differ says that it is a copy, and by what. The note on keys is that of the issue where the key
   of whoever issued it is trusted: anybody could issue a paper without a note. `record verify
   --paper` looks a file up by its hash, and knows a changed one by the title that it bears. It
   stays in force until an amended one is approved: whoever amends would else undo alone what
   another person approved; who must stop it at once voids the run.
   Rejected: the first printing as the issue, which a reader of a copy of the store would be; a date
   of printing on copies, which would make each another file.
   Held by: tests/cli/test_issued_paper.py.
11. The certificate is always laid out by the program; a laboratory's own pages come before it.
   Why: whoever lays a certificate out can hide a verdict in more ways than a check can know: white
   on white, by a gradient, a clip, a shape laid over it.
   Decision: own pages are one block, in which typst refuses any setting of the page; the
   certificate begins on a page of its own, and each own page has a strip, drawn over all that it
   holds, that says where, and the certificate's verdict and state. The record keeps the SHA-256 of
   both layouts, which `record verify --paper` names.
   Rejected: a template of one's own for the whole, judged by the text or the picture of its paper.
   Held by: tests/reports/test_own_pages.py.
"""
