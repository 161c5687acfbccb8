#pragma once

#include <string>
#include <string_view>

namespace trimwright {

/// Bytes of the UTF-8 sequence (RFC 3629) that starts at `i`; 0 where none does: a stray or missing byte, an
/// overlong form, half a surrogate, a value beyond Unicode.
[[nodiscard]] std::size_t utf8_length(std::string_view text, std::size_t i);

/// True for C0 and C1 control characters and DEL at `i`.
[[nodiscard]] bool is_control(std::string_view text, std::size_t i);

/// One line a terminal can show, whatever a file held: control characters become blanks, broken UTF-8 is
/// dropped.
[[nodiscard]] std::string one_line(std::string_view text);

/// What a file held, cut to a length that a message can quote, never inside a character.
[[nodiscard]] std::string shortened(std::string_view text, std::size_t most = 60);

/// "1 slot", "3 slots".
[[nodiscard]] std::string counted(std::size_t number, std::string_view thing);

/// ASCII letters made small, the rest untouched.
[[nodiscard]] std::string lower_case(std::string_view text);

}  // namespace trimwright
