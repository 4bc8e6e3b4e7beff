"""Writes sieves.xlsx, a workbook that tests/sheets.rs reads: openpyxl 3.1.5, a writer of workbooks with nothing in common with ours.
Texts are written in the cells themselves where openpyxl can, in the shared table else; the sum is a formula without a saved result."""

from pathlib import Path

from openpyxl import Workbook
from openpyxl.styles import Font

book = Workbook()
notes = book.active
notes.title = "Notes"
notes["A1"] = "Sieved by hand, five minutes"
sheet = book.create_sheet("Siebung")
sheet.merge_cells("A1:C1")
sheet["A1"] = "Siebanalyse"
sheet["A1"].font = Font(bold=True)
sheet.append([])
sheet.append(["Siebweite (mm)", "Rückstand (g)", "Durchgang (%)"])
for mm, grams, passing in [(0.3, 10, 0.9), (0.15, 60, 0.3), (0.075, 25, 0.05), ("Boden", 5, 0)]:
    sheet.append([mm, grams, passing])
    sheet.cell(sheet.max_row, 3).number_format = "0.0%"
sheet.append(["Summe", "=SUM(B4:B7)"])
hidden = book.create_sheet("Old")
hidden.append(["Sieve (µm)", "Retained (g)"])
hidden.append([300, 1])
hidden.append(["pan", 99])
hidden.sheet_state = "hidden"
book.save(Path(__file__).with_name("sieves.xlsx"))
