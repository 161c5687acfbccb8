#pragma once

#include <optional>
#include <string>
#include <vector>

#include "trimwright/error.hpp"

namespace trimwright {

/// "a, b" as its items. A comma between two figures parts none: it is a decimal comma, which is refused where
/// the number is read.
[[nodiscard]] std::vector<std::string> listed_items(const std::string& list);

/// Items with the unit of the next one that has one, where they are a number alone: "2.5, 5 g".
[[nodiscard]] std::vector<std::string> with_units_behind(std::vector<std::string> items);

/// The words of a text, parted by blanks; and the text of words from `first` up to `end`.
[[nodiscard]] std::vector<std::string> words_of(const std::string& text);
[[nodiscard]] std::string joined_words(const std::vector<std::string>& words, std::size_t first,
                                       std::size_t end);

/// An answer in the words that are read here: "the", "seen" and a comma before them left out, "slot" for
/// "hole", "deg" for "degrees". Capitals stay as they are.
[[nodiscard]] std::string in_plain_words(const std::string& answer);

/// A name that none of the others is taken for.
[[nodiscard]] Result<std::string> name_apart(const std::string& text, const std::vector<std::string>& others);

/// What an answer says of each of several things, in their order: "front: 250 mm; rear: 10 in", in turn
/// "250 mm; 10 in", or once for all. Empty: nothing. `what` they are: "plane".
[[nodiscard]] Result<std::vector<std::string>> told_of_each(const std::string& answer,
                                                            const std::vector<std::string>& names,
                                                            const std::string& what);

/// A whole number from 1 to `most`.
[[nodiscard]] std::optional<int> whole_number(const std::string& text, int most);

/// Nothing, or "none".
[[nodiscard]] bool says_nothing(const std::string& told);

/// The text without `word` and the blanks before it, where it ends so and something else is left.
[[nodiscard]] std::string without_last_word(const std::string& text, const std::string& word);

}  // namespace trimwright
