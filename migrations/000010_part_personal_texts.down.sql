DROP TABLE personal_texts;
DROP FUNCTION refuse_all_but_erasing();
