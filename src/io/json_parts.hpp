#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>

#include "trimwright/job.hpp"
#include "trimwright/plan.hpp"
#include "trimwright/trim.hpp"

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

/// The piece of such an id or moment; of an id without its moment, which the catalogue tells.
[[nodiscard]] Piece piece_in(const Json& piece);

/// Adds `approach` and `state` to what an entry says of a speed, where readings there tell them.
void tell_state(Json& entry, const ReadingState& state);

/// A place: `speed_rpm`, `speed` (in words) and `sensor`, and what `tell_state` adds.
[[nodiscard]] Json place_json(const Job& job, std::size_t speed, std::size_t sensor);

/// What each place should read: as `place_json`, `amplitude`, `phase_deg` (null where nothing predicts it),
/// `last_read`, `differs_by`, `stop_above` and `target`.
[[nodiscard]] Json expected_json(const Job& job, const std::vector<ExpectedReading>& expected);

/// Moment and angle to add, plane by plane.
[[nodiscard]] Json correction_json(const Job& job, const Correction& correction);

}  // namespace trimwright
