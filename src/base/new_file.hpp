#pragma once

#include <string>
#include <string_view>
#include <utility>

#include "trimwright/error.hpp"

namespace trimwright {

/// `Location::line` of an error about a file that was to be written: nothing is wrong with what was given.
inline constexpr int unwritten = -1;

/// Something on disk that goes away again: with this object, or when the program is stopped by a signal
/// (`end_cleanly_on_signals`).
class Passing {
 public:
  Passing() = default;
  Passing(Passing&& other) noexcept : path_(std::exchange(other.path_, {})) {}
  Passing& operator=(Passing&& other) noexcept {
    std::swap(path_, other.path_);
    return *this;
  }
  ~Passing();

  /// A new file in `folder` with a name that nobody can foresee. Gives its descriptor, or -1 and errno.
  static std::pair<Passing, int> file(const std::string& folder, unsigned mode);
  /// A new folder where the system keeps what passes; its path is empty, with errno set, where none is made.
  static Passing folder();

  [[nodiscard]] const std::string& path() const { return path_; }

 private:
  explicit Passing(std::string path) : path_(std::move(path)) {}
  std::string path_;
};

/// A file that gets its name when it is whole, by the pattern that databases and editors use: written under
/// another name in the same folder, which nobody can foresee, forced to the disk, renamed, the folder forced
/// to the disk. Until then there is what was there before, and nothing else.
///
/// A name that is a link is followed: what it points at is replaced, the link stays. A file that is replaced
/// hands on its mode and, where the user may do that, its owner and group.
class NewFile {
 public:
  enum class Existing { replaced, refused };

  /// Errors (`unwritten`): a folder, a pipe or a device has the name; the folder is missing or may
  /// not be written to; the file is write-protected, or there when it must not be.
  static Result<NewFile> create(const std::string& path, Existing existing = Existing::replaced);
  NewFile(NewFile&& other) noexcept;
  NewFile& operator=(NewFile&&) = delete;
  ~NewFile();

  /// What to write to: by its descriptor, or by the path it has for the time being.
  [[nodiscard]] int descriptor() const { return descriptor_; }
  [[nodiscard]] const std::string& path_for_now() const { return part_.path(); }

  /// To the disk and under its name.
  [[nodiscard]] Result<void> finish();
  /// The error of something that could not be done, from errno.
  [[nodiscard]] tl::unexpected<Error> failed_to(const std::string& what) const;

 private:
  NewFile(std::string given, std::string path, Existing existing)
      : given_(std::move(given)), path_(std::move(path)), existing_(existing) {}

  std::string given_, path_;
  Existing existing_;
  Passing part_;
  int descriptor_ = -1;
};

/// All of `bytes`; false with errno where that fails.
[[nodiscard]] bool write_all(int descriptor, std::string_view bytes);

/// A whole `NewFile`.
[[nodiscard]] Result<void> write_text_file(const std::string& path, std::string_view content,
                                           NewFile::Existing existing = NewFile::Existing::replaced);

/// Removes everything `Passing`; for a program that ends right after: nothing new can be made.
void remove_passing();

/// From here on SIGINT, SIGTERM and SIGHUP remove everything `Passing` and then end the program as they
/// would have; but not where `goes_on` tells, on another thread, that it comes to its end by itself. To be
/// called once, before there is another thread.
void end_cleanly_on_signals(bool (*goes_on)(int signal));

}  // namespace trimwright
