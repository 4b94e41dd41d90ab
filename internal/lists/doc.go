// Package lists reads the lists of a tour as people write them: input lists,
// desk patches and set lists, from any spreadsheet or text editor. Start with
// [ReadInputs] and [ReadSetList].
//
// Columns are known by their headings, in any order and case, with the trade's
// usual synonyms; lines above the headings and columns with other headings are
// passed over. Commas, semicolons and tabs are told apart by which of them
// makes the headings readable. Text may be UTF-8, UTF-16 or, where it is
// neither, Windows-1252; line ends of any system are taken.
//
// Nothing doubtful is guessed: a value that cannot be read is an [*Error] that
// names file, line, column and value and says what to write instead. The
// package touches neither the catalog nor any audio. CSV is as in RFC 4180,
// with other delimiters allowed.
package lists
