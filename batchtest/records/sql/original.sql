-- The text that was made harmless for spreadsheets, as batchtest.formulas.original gives it.
CREATE MACRO original(text) AS CASE
    WHEN contains(text, '''')
    THEN regexp_replace(
        regexp_replace(text, '([;\t\r\n])''([ '']*[=+\-@＝＋－＠﹦﹢﹣﹫−])', '\1\2', 'g'),
        '\A''([ '']*[=+\-@＝＋－＠﹦﹢﹣﹫−\t\r\n])',
        '\1'
    )
    ELSE text
END;
