#pragma once

#include <cstdint>
#include <string>
#include <string_view>

namespace trimwright {

/// The character of a UTF-8 text that begins at one byte.
struct Character {
  std::int32_t code = -1;  ///< Unicode code point; -1 where no whole sequence (RFC 3629) begins
  std::size_t bytes = 1;
};
[[nodiscard]] Character character_at(std::string_view text, std::size_t i);

/// Whether a person would not see the character, or see others in another order because of it: controls,
/// format characters, what Unicode lets a program ignore, line and paragraph separators, private and
/// unassigned code points. Also for the -1 of a broken sequence.
[[nodiscard]] bool is_unseen(std::int32_t code);

/// One line a terminal can show, whatever a file, an argument or a file name held: characters that would not
/// be seen are written out (\n, \u202e), and so are the bytes of broken UTF-8 (\xff).
[[nodiscard]] std::string one_line(std::string_view text);

/// What a file held, cut to a length that a message can quote, never inside a character.
[[nodiscard]] std::string shortened(std::string_view text, std::size_t most = 60);

/// "1 slot", "3 slots".
[[nodiscard]] std::string counted(std::size_t number, std::string_view thing);

/// A probability: "87 %", "< 1 %", "> 99 %"; never a certainty that samples cannot show.
[[nodiscard]] std::string percent_words(double probability);

/// ASCII letters made small, the rest untouched.
[[nodiscard]] std::string lower_case(std::string_view text);

}  // namespace trimwright
