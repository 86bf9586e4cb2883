"""Sheets to print and tables to reckon with: what a page shows, made for paper (HTML, PDF) and for spreadsheets.

A sheet's content is made once, as plain values (``unit_sheet``, ``work_order``, ``cab_sheet``, ``fleet_report``); its
template and its tables only lay that out. ``printout`` is the door.
"""
