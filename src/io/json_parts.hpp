#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>

#include "trimwright/runs/job.hpp"

namespace trimwright {

using Json = nlohmann::ordered_json;

template <class T>
[[nodiscard]] Json or_null(const std::optional<T>& value) {
  return value ? Json(*value) : Json(nullptr);
}

/// The keys every document of a job begins with.
[[nodiscard]] Json document_header(const std::string& kind, const Job& job);

/// null: only the filler; a catalogue id; or {"moment_g_mm": m} for another piece.
[[nodiscard]] Json piece_json(const std::optional<Piece>& piece);

}  // namespace trimwright
