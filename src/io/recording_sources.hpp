#pragma once

#include <filesystem>
#include <memory>

#include "recording.hpp"

namespace trimwright {

[[nodiscard]] Result<std::unique_ptr<RecordingSource>> wav_source(const std::filesystem::path& file,
                                                                  const RecordingDescription& description);
[[nodiscard]] Result<std::unique_ptr<RecordingSource>> csv_source(const std::filesystem::path& file,
                                                                  const RecordingDescription& description);

}  // namespace trimwright
