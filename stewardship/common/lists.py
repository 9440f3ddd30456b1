"""Every list page: django-tables2 under django-filter, paged, with a CSV of what the filter shows."""

import csv
from collections.abc import Iterator

from django.http import HttpRequest, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.utils.text import slugify
from django_filters.views import FilterView
from django_tables2 import SingleTableMixin

#: A spreadsheet takes a cell that starts with one of these for a formula (OWASP, "CSV Injection").
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def formula_safe(value: object) -> str:
    """The cell as text that no spreadsheet runs as a formula; plain negative numbers stay numbers."""
    text = "" if value is None else str(value)
    if text.startswith(FORMULA_STARTS):
        try:
            float(text)
        except ValueError:
            return "'" + text
    return text


class _Echo:
    def write(self, value: str) -> str:
        return value


def csv_response(rows: Iterator[list], *, name: str) -> StreamingHttpResponse:
    """Rows as a UTF-8 CSV download (RFC 4180; with a byte-order mark, so that spreadsheets read accents)."""
    writer = csv.writer(_Echo())

    def lines() -> Iterator[str]:
        yield "\ufeff"
        for row in rows:
            yield writer.writerow([formula_safe(cell) for cell in row])

    return StreamingHttpResponse(
        lines(),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{slugify(name) or "list"}.csv"'},
    )


class FilteredTableView(SingleTableMixin, FilterView):
    """A list page. Subclasses name `model` or `get_queryset`, `table_class`, `filterset_class`, `template_name`.

    `?_export=csv` downloads the filtered rows. A filter that cannot be read shows its error and no rows.
    """

    table_pagination = {"per_page": 25}
    export_name = "list"

    def get(self, request: HttpRequest, *args, **kwargs) -> HttpResponseBase:
        response = super().get(request, *args, **kwargs)
        if request.GET.get("_export") == "csv":
            table = response.context_data["table"]
            return csv_response(table.as_values(), name=self.export_name)
        return response
