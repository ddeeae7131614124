"""What a trouble code says.

- `dtc`: structure and authority of a code; `spn`: codes of SAE J1939-73
- `failure`: the failure type byte
- `meaning`: subject, place and fault kind from the catalogue; `shop`: a shop's own meanings
- `network`: modules and buses that network codes name
- `bulk`: many records at once; `coverage`: how much the catalogue holds

Nothing is imported here: a command that shows one code pays for no more than that.
"""
