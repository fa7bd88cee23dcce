"""What inspect says of the columns of a file whose layout is known."""

from pipeline.ingest.inspection import declared_columns
from pipeline.ingest.layouts import packaged


def test_the_column_that_stands_in_is_told_in_the_order_of_the_layout_not_of_the_file() -> None:
    layout = packaged()["mw_drilling"]
    table = layout.tables["wells"]
    first, second = table.columns["depth_static_m"].sources[:2]
    for headers in ((first, second), (second, first)):
        after = {seen.header: seen.after for seen in declared_columns(headers, layout, table)}
        assert after == {first: "", second: first}
    assert [seen.after for seen in declared_columns((second,), layout, table)] == [""]
