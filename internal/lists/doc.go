// Package lists reads the lists of a tour as people write them: input lists,
// desk patches and set lists, from any spreadsheet or text editor. Start with
// [ReadInputs] and [ReadSetList].
//
// Columns are identified by their headings, in any order and case, with the
// trade's usual synonyms; lines above the headings and columns with other
// headings are skipped. The delimiter (comma, semicolon or tab) is the one that
// makes the headings readable. Text may be UTF-8, UTF-16 or otherwise
// Windows-1252; line ends of any system are accepted.
//
// The package never guesses: a value that cannot be read is an [*Error] with
// file, line, column and value, and says what to write instead. The package
// touches neither the catalog (except in [Names]) nor any audio. CSV is as in
// RFC 4180, with other delimiters allowed.
package lists
